from django.apps import AppConfig


class ApiKitConfig(AppConfig):
    name = "shared.api_kit"
    label = "api_kit"
    verbose_name = "API kit"

    def ready(self) -> None:
        from shared.api_kit.converters import register  # the registry of converters is filled once

        register()
