from django.apps import AppConfig


class WorkConfig(AppConfig):
    name = "jobs.work"
    label = "work"
    verbose_name = "Work"

    def ready(self) -> None:
        """Stand behind the estimates, and let the outbox ask before a message about one leaves."""
        from jobs.work.services.estimates import EstimatedJobs, estimate_guard
        from pricing.estimates.jobs_behind import jobs_register
        from pricing.estimates.messages import PURPOSE
        from shared.outbox.guards import guard_register

        jobs_register(EstimatedJobs())
        guard_register(PURPOSE, estimate_guard)
