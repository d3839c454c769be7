from django.apps import AppConfig


class RemindersConfig(AppConfig):
    name = "jobs.reminders"
    label = "reminders"
    verbose_name = "Reminders"

    def ready(self) -> None:
        """Let the outbox ask this room before a message leaves."""
        from jobs.reminders.inbound import CONFIRMATION
        from jobs.reminders.services import PURPOSE, nothing_at_all_guard, reminder_guard
        from shared.outbox.guards import guard_every, guard_register

        guard_register(PURPOSE, reminder_guard)
        guard_every(nothing_at_all_guard, but=(CONFIRMATION, PURPOSE))  # which asks that itself
