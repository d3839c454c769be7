from django.apps import AppConfig


class DemoConfig(AppConfig):
    name = "routing.demo"
    label = "demo"
    verbose_name = "Demo"
