from django.apps import AppConfig


class CustomersConfig(AppConfig):
    name = "jobs.customers"
    label = "customers"
    verbose_name = "Customers"
