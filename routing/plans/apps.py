from django.apps import AppConfig


class PlansConfig(AppConfig):
    name = "routing.plans"
    label = "plans"
    verbose_name = "Plans"
