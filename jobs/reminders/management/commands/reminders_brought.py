import json
from datetime import date
from typing import Any

from django.core.management.base import BaseCommand, CommandParser

from jobs.reminders.brought import CampaignResult, brought, brought_csv, brought_json
from shared import clock
from shared.company.selectors import company_get
from shared.web.words import whole_money_words


class Command(BaseCommand):
    help = "Says what reminders brought by campaign of due dates, against those who were held back."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--since", type=date.fromisoformat, help="leave out campaigns of months before this date")
        parser.add_argument("--json", action="store_true", help="for programs")
        parser.add_argument("--csv", action="store_true", help="for a spreadsheet")

    def handle(self, *args: Any, **options: Any) -> None:
        found = brought(now=clock.now(), since=options["since"])
        if options["json"]:
            self.stdout.write(json.dumps(brought_json(found)))
            return
        if options["csv"]:
            self.stdout.write(brought_csv(found), ending="")
            return
        currency = company_get().currency
        for row in (*found.campaigns, found.total):
            self.stdout.write(_line(row, currency))


def _line(row: CampaignResult, currency: str) -> str:
    name = row.campaign.strftime("%Y-%m") if row.campaign else "all"
    counts = ", ".join(
        f"{getattr(row, part)} {part.replace('_', ' ')}"
        for part in ("written", "sent", "delivered", "answered", "booked", "washed", "opted_out")
    )
    return f"{name}: {counts}; {_hourly(row, currency)}; {_gain(row)}"


def _hourly(row: CampaignResult, currency: str) -> str:
    hourly = row.earned_per_crew_hour
    return f"{whole_money_words(hourly[0], currency)} per crew-hour" if hourly else "nothing earned yet"


def _gain(row: CampaignResult) -> str:
    if row.gain is None:
        return "gain not known"
    points = (f"{100 * share:+.1f}" for share in (row.gain.value, row.gain.low, row.gain.high))
    return "gain {} points ({} to {}, 90 %)".format(*points)
