from datetime import date
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from pricing.minutes.services import history_replay, model_fit
from shared import clock
from shared.company.selectors import company_get


class Command(BaseCommand):
    help = "Learn the minutes of each service from the jobs that were booked, as the clock does every night."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--replay-since",
            type=date.fromisoformat,
            metavar="YYYY-MM-DD",
            help="first give past lines from this day on the forecasts that could have been made then",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        today = clock.local_date(company_get().timezone, clock.now())
        since = options["replay_since"]
        if since and since >= today:
            raise CommandError("The replay must begin before today.")
        if since:
            self.stdout.write(f"{history_replay(since=since, until=today)} forecasts of past lines made.")
        version = model_fit(today=today)
        if version is None:
            self.stdout.write("Nothing new to learn.")
        else:
            self.stdout.write(f"Version {version.pk} learnt from {version.lines} booked lines.")
