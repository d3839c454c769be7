import json
from argparse import ArgumentParser
from datetime import date
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from routing.plans.choices import PlanObjective
from routing.plans.models import MOST_SECONDS, DayPlan
from routing.plans.selectors import plan_as_json
from routing.plans.services import day_plan_make
from shared import clock
from shared.errors import WalldayError

from ._words import plan_lines, yard_named


class Command(BaseCommand):
    help = "Plans a yard's day and stores the plan: which crew does which job, when, and what the day is worth."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--yard", metavar="CODE", help="the yard; may be left out where there is only one")
        parser.add_argument("--date", type=date.fromisoformat, metavar="YYYY-MM-DD", help="the day; today if left out")
        parser.add_argument("--seconds", type=int, help=f"how long to look for better plans, 1 to {MOST_SECONDS}")
        parser.add_argument("--seed", type=int, default=1)
        parser.add_argument(
            "--objective",
            choices=PlanObjective.values,
            default=PlanObjective.VALUE,
            help="value: the most money for the whole day (default); ratio: the most profit per paid crew-hour",
        )
        parser.add_argument("--json", action="store_true", help="print the plan as day-plan/1")

    def handle(self, *args: Any, **options: Any) -> None:
        yard = yard_named(options["yard"])
        day = options["date"] or clock.local_date(yard.timezone, clock.now())
        seconds = settings.WALLDAY_PLAN_SECONDS if options["seconds"] is None else options["seconds"]
        if not 1 <= seconds <= MOST_SECONDS:
            raise CommandError(f"--seconds must be from 1 to {MOST_SECONDS}.")
        try:
            plan = day_plan_make(
                yard=yard, work_date=day, seconds=seconds, seed=options["seed"], objective=options["objective"]
            )
        except WalldayError as error:
            raise CommandError(error.message) from error
        self._print(plan, as_json=options["json"])

    def _print(self, plan: DayPlan, *, as_json: bool) -> None:
        if as_json:
            self.stdout.write(json.dumps(plan_as_json(plan), indent=1))
            return
        for line in plan_lines(plan):
            self.stdout.write(line)
