from django.apps import AppConfig


class CostsConfig(AppConfig):
    name = "pricing.costs"
    label = "costs"
    verbose_name = "Costs"
