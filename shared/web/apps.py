from django.apps import AppConfig


class WebConfig(AppConfig):
    name = "shared.web"
    label = "web"
    verbose_name = "Web"
