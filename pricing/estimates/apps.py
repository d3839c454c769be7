from django.apps import AppConfig


class EstimatesConfig(AppConfig):
    name = "pricing.estimates"
    label = "estimates"
    verbose_name = "Estimates"
