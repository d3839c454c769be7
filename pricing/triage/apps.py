from django.apps import AppConfig


class TriageConfig(AppConfig):
    name = "pricing.triage"
    label = "triage"
    verbose_name = "Which leads to take"
