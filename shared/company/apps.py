from django.apps import AppConfig


class CompanyConfig(AppConfig):
    name = "shared.company"
    label = "company"
    verbose_name = "Company"
