import json
from typing import Any

from django.core.management.base import BaseCommand, CommandParser

from jobs.reminders.selectors import due_item_json, due_list
from shared import clock
from shared.company.selectors import company_get


class Command(BaseCommand):
    help = "Lists the properties that are due, with the reason and whether their owners may be reminded now."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--lead-days", type=int, help="days before the due date (default: the company's)")
        parser.add_argument("--json", action="store_true", help="one JSON object instead of lines")

    def handle(self, *args: Any, **options: Any) -> None:
        today = clock.local_date(company_get().timezone, clock.now())
        items = due_list(today=today, lead_days=options["lead_days"])
        ready = sum(item.is_ready for item in items)
        if options["json"]:
            report = {"on": today.isoformat(), "due": len(items), "ready": ready}
            self.stdout.write(json.dumps(report | {"items": [due_item_json(item) for item in items]}))
            return
        for item in items:
            way = item.channel if item.is_ready else f"not now: {item.why_not}"
            self.stdout.write(f"{item.due_on}  {item.customer_name}, {item.address}: {item.reason} ({way})")
        self.stdout.write(f"{len(items)} due on {today}, {ready} may be reminded now.")
