from django.apps import AppConfig


class EarningsConfig(AppConfig):
    name = "pricing.earnings"
    label = "earnings"
    verbose_name = "Earnings"
