from typing import Any

from django.core.management.base import BaseCommand

from shared import clock
from shared.background.services import due_schedules_enqueue


class Command(BaseCommand):
    help = "Starts what is due now. Safe to repeat; without Celery let cron call it every minute."

    def handle(self, *args: Any, **options: Any) -> None:
        started = due_schedules_enqueue(now=clock.now())
        self.stdout.write(", ".join(started) if started else "Nothing is due.")
