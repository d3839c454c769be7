import json
from argparse import ArgumentTypeError
from datetime import date
from typing import Any

from django.core.management.base import BaseCommand, CommandParser

from jobs.reminders.listing import DueSheet
from jobs.reminders.narrowing import NEVER, DueWish
from jobs.reminders.selectors import DueItem, due_item_json
from shared import clock
from shared.company.selectors import company_get
from shared.outbox.models import Channel
from shared.web.words import hours_words, percent_words, whole_money_words

WISHES = (
    "state",
    "kind",
    "channel",
    "search",
    "silent_days",
    "price_from_cents",
    "minutes_up_to",
    "chance_from_percent",
)


class Command(BaseCommand):
    help = "Lists the properties that are due, with the reason, what a yes would bring, and whether to write now."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--lead-days", type=int, help="days before the due date (default: the company's)")
        parser.add_argument("--state", default="", choices=("ready", "waits", "reminded", "no_channel"))
        parser.add_argument("--kind", default="", help="code of the service, or chalk")
        parser.add_argument("--channel", default="", choices=Channel.values)
        parser.add_argument("--search", default="", help="words in name, address or reason")
        parser.add_argument("--silent-days", type=_days, help=f"no reminder for so many days; {NEVER}: none ever")
        parser.add_argument("--price-from-cents", type=int, help="leave out what is cheaper")
        parser.add_argument("--minutes-up-to", type=int, help="leave out what takes a crew longer")
        parser.add_argument("--chance-from-percent", type=int, help="leave out who says yes more rarely")
        parser.add_argument("--json", action="store_true", help="one JSON object instead of lines")

    def handle(self, *args: Any, **options: Any) -> None:
        company = company_get()
        today = clock.local_date(company.timezone, clock.now())
        wish = DueWish(**{name: options[name] for name in WISHES})
        sheet = DueSheet(today=today, lead_days=options["lead_days"], wish=wish)
        if options["json"]:
            self._json(sheet, today)
            return
        for item in sheet:
            self.stdout.write(_line(item, company.currency))
        self.stdout.write(f"{sheet.due_count} due on {today}, {sheet.ready_count} may be reminded now.")

    def _json(self, sheet: DueSheet, today: date) -> None:
        """Line by line, so that a list of any length is written in the same memory."""
        report = json.dumps({"on": today.isoformat(), "due": sheet.due_count, "ready": sheet.ready_count, "items": []})
        before, after = report[:-2], report[-2:]
        self.stdout.write(before, ending="")
        for number, item in enumerate(sheet):
            self.stdout.write((", " if number else "") + json.dumps(due_item_json(item)), ending="")
        self.stdout.write(after)


def _days(text: str) -> int:
    if not text.lstrip("-").isdigit() or int(text) < NEVER:
        raise ArgumentTypeError(f"{text!r} is no number of days.")
    return int(text)


def _line(item: DueItem, currency: str) -> str:
    way = f"{item.channel}, {item.consent}" if item.is_ready else f"not now: {item.why_not}"
    price = "price after a look" if item.price_cents is None else whole_money_words(item.price_cents, currency)
    worth = f"{price}, {hours_words(item.minutes)}, chance {percent_words(item.chance)}"
    return f"{item.due_on}  {item.customer_name}, {item.address}: {item.reason} ({worth}; {way})"
