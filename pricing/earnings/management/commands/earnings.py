import json
from datetime import date
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from pricing.earnings.domain.breakdown import Breakdown
from pricing.earnings.domain.report import EarningsReport
from pricing.earnings.exporting import report_csv
from pricing.earnings.selectors import earnings_report
from pricing.earnings.terminal import report_text
from shared import clock
from shared.company.selectors import company_get
from shared.errors import NotFound


def day(text: str) -> date:
    """A date as ISO 8601 writes it."""
    return date.fromisoformat(text)


class Command(BaseCommand):
    help = "Show what a crew-hour earned by kind of job, crew, part of town and more, judged against the target."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--since", type=day, metavar="YYYY-MM-DD", help="only jobs first worked from this day on")
        parser.add_argument("--until", type=day, metavar="YYYY-MM-DD", help="last day; default: today")
        parser.add_argument(
            "--by", choices=[str(by) for by in Breakdown], default="service", help="what a row stands for"
        )
        parser.add_argument("--service", default="", metavar="CODE", help="only the lines of this service")
        parser.add_argument("--csv", action="store_true", help="a table for a spreadsheet")
        parser.add_argument("--json", action="store_true", help="one JSON object instead of the table")

    def handle(self, *args: Any, **options: Any) -> None:
        company = company_get()
        until = options["until"] or clock.local_date(company.timezone, clock.now())
        since = options["since"]
        if since and until < since:
            raise CommandError("The last day must not be before the first.")
        try:
            report = earnings_report(
                since=since, until=until, by=Breakdown(options["by"]), service_code=options["service"]
            )
        except NotFound as error:
            raise CommandError(error.message) from error
        self.stdout.write(self._written(report, company.currency, options), ending="" if options["csv"] else None)

    def _written(self, report: EarningsReport, currency: str, options: dict[str, Any]) -> str:
        if options["json"]:
            return json.dumps(report.as_json(), indent=2)
        return report_csv(report, with_margin=True) if options["csv"] else report_text(report, currency)
