from django.apps import AppConfig


class ApiKitConfig(AppConfig):
    name = "shared.api_kit"
    label = "api_kit"
    verbose_name = "API kit"
