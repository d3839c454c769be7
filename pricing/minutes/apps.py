from django.apps import AppConfig


class MinutesConfig(AppConfig):
    name = "pricing.minutes"
    label = "minutes"
    verbose_name = "Minutes"
