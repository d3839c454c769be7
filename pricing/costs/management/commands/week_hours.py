import json
from datetime import date
from typing import Any

from django.core.management.base import BaseCommand, CommandParser

from pricing.costs.api import WorkerWeekOutput
from pricing.costs.domain import WorkerWeek
from pricing.costs.selectors import week_hours
from shared import clock
from shared.company.selectors import company_get
from shared.money import format_cents
from shared.web.words import hours_words


class Command(BaseCommand):
    help = "Hours, overtime and pay of each worker in a week, from what is booked. For the owner alone."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--day", type=date.fromisoformat, metavar="YYYY-MM-DD", help="any of its days; default: today"
        )
        parser.add_argument("--json", action="store_true", help="a JSON list instead of the table")

    def handle(self, *args: Any, **options: Any) -> None:
        company = company_get()
        weeks = week_hours(day=options["day"] or clock.local_date(company.timezone, clock.now()))
        if options["json"]:
            self.stdout.write(json.dumps([WorkerWeekOutput(week).data for week in weeks], indent=2))
            return
        self.stdout.write(_row("", "worked", "over 40 h", "bonuses", "premium", "pay"))
        for week in weeks:
            self.stdout.write(_week_row(week, company.currency))


def _week_row(week: WorkerWeek, currency: str) -> str:
    hours = (hours_words(week.worked_minutes), hours_words(week.overtime_minutes))
    money = (format_cents(cents, currency) for cents in (week.bonus_cents, week.premium_cents, week.pay_cents))
    return _row(week.name, *hours, *money)


def _row(name: str, *cells: str) -> str:
    return f"{name:20}" + "".join(f"{cell:>13}" for cell in cells)
