from django.apps import AppConfig


class RemindersConfig(AppConfig):
    name = "jobs.reminders"
    label = "reminders"
    verbose_name = "Reminders"

    def ready(self) -> None:
        """Let the outbox ask this room before a reminder leaves."""
        from jobs.reminders.services import PURPOSE, reminder_guard
        from shared.outbox.guards import guard_register

        guard_register(PURPOSE, reminder_guard)
