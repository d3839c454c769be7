import json
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from jobs.reminders.forms import DEFAULT_WEEKS, MOST_KEPT_HOURS, MOST_WEEKS
from jobs.reminders.proposal import proposal_json
from routing.plans.selectors.filling import proposal_of
from shared import clock
from shared.web.present import today_here


class Command(BaseCommand):
    help = "Says who should be reminded now, so that the answers fill the crews' free hours. Writes nothing."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--weeks", type=int, default=DEFAULT_WEEKS, help=f"weeks ahead (default {DEFAULT_WEEKS})")
        parser.add_argument("--keep-hours", type=int, default=0, help="crew-hours to keep for calls (default 0)")
        parser.add_argument("--json", action="store_true", help="for programs")

    def handle(self, *args: Any, **options: Any) -> None:
        if not 1 <= options["weeks"] <= MOST_WEEKS:
            raise CommandError(f"--weeks is 1 to {MOST_WEEKS}.")
        if not 0 <= options["keep_hours"] <= MOST_KEPT_HOURS:
            raise CommandError(f"--keep-hours is 0 to {MOST_KEPT_HOURS}.")
        wish = {"weeks": options["weeks"], "keep_hours": options["keep_hours"]}
        found = proposal_of(today=today_here(), now=clock.now(), **wish)
        if options["json"]:
            self.stdout.write(json.dumps(proposal_json(found)))
            return
        for line in found.chosen:
            self.stdout.write(f"{line.item.key}  {line.item.customer_name}, {line.item.street}: {line.why}")
        for line in found.waiting:
            self.stdout.write(f"waits: {line.item.customer_name}, {line.item.street}: {line.why}")
        waiting = len(found.waiting) + found.not_weighed
        self.stdout.write(
            f"{len(found.chosen)} should hear now, {waiting} wait; {found.room.minutes // 60} crew-hours "
            f"free, {found.expected_minutes / 60:.0f} expected, {100 * found.overflow:.0f} % chance of too much."
        )
