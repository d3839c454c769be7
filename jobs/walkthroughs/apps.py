from django.apps import AppConfig


class WalkthroughsConfig(AppConfig):
    name = "jobs.walkthroughs"
    label = "walkthroughs"
    verbose_name = "Walkthroughs"

    def ready(self) -> None:
        """Let the outbox ask before a condition notice leaves."""
        from jobs.walkthroughs.services.notices import PURPOSE, notice_guard
        from shared.outbox.guards import guard_register

        guard_register(PURPOSE, notice_guard)
