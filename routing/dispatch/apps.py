from django.apps import AppConfig


class DispatchConfig(AppConfig):
    name = "routing.dispatch"
    label = "dispatch"
    verbose_name = "Dispatch"
