from importlib import import_module

from django.apps import AppConfig


class OutboxConfig(AppConfig):
    name = "shared.outbox"
    label = "outbox"
    verbose_name = "Outbox"

    def ready(self) -> None:
        """Register the checks, which need the models."""
        import_module("shared.outbox.checks")
