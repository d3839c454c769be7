from django.apps import AppConfig


class OutboxConfig(AppConfig):
    name = "shared.outbox"
    label = "outbox"
    verbose_name = "Outbox"
