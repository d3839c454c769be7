from django.apps import AppConfig


class ChalkingConfig(AppConfig):
    name = "jobs.chalking"
    label = "chalking"
    verbose_name = "Chalking"
