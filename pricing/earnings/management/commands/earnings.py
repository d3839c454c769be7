import json
from datetime import date
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from pricing.catalogue.selectors import NoTargetYet
from pricing.earnings.selectors import earnings_report
from pricing.earnings.terminal import report_text
from shared import clock
from shared.company.selectors import company_get


def day(text: str) -> date:
    """A date as ISO 8601 writes it."""
    return date.fromisoformat(text)


class Command(BaseCommand):
    help = "Show what each kind of job earned per crew-hour, judged against the hourly target."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--since", type=day, metavar="YYYY-MM-DD", help="only jobs first worked from this day on")
        parser.add_argument("--until", type=day, metavar="YYYY-MM-DD", help="last day; default: today")
        parser.add_argument("--json", action="store_true", help="one JSON object instead of the table")

    def handle(self, *args: Any, **options: Any) -> None:
        company = company_get()
        until = options["until"] or clock.local_date(company.timezone, clock.now())
        since = options["since"]
        if since and until < since:
            raise CommandError("The last day must not be before the first.")
        try:
            report = earnings_report(since=since, until=until)
        except NoTargetYet as error:
            raise CommandError(error.message) from error
        as_text = json.dumps(report.as_json(), indent=2) if options["json"] else report_text(report, company.currency)
        self.stdout.write(as_text)
