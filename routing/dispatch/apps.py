from django.apps import AppConfig


class DispatchConfig(AppConfig):
    name = "routing.dispatch"
    label = "dispatch"
    verbose_name = "Dispatch"

    def ready(self) -> None:
        """Let the outbox ask before a message about a crew's coming leaves."""
        from routing.dispatch.services.telling import PURPOSE, coming_guard
        from shared.outbox.guards import guard_register

        guard_register(PURPOSE, coming_guard)
