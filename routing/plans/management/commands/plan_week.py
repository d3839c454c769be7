from argparse import ArgumentParser
from datetime import date, timedelta
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from routing.plans.models import MOST_SECONDS, WeekPlan
from routing.plans.selectors.weeks import WeekStop, week_on_page, week_plan_by_id
from routing.plans.services import week_plan_make, week_take_over
from shared import clock
from shared.errors import WalldayError
from shared.money import format_cents
from shared.units import round_half_up

from ._words import yard_named


class Command(BaseCommand):
    help = "Plans the open days of a yard's week together; with --take-over they become day plans, all of them or none."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--yard", metavar="CODE", help="the yard; may be left out where there is only one")
        parser.add_argument(
            "--date", type=date.fromisoformat, metavar="YYYY-MM-DD", help="a day of it; next week if left out"
        )
        parser.add_argument("--seconds", type=int, help=f"how long to look for better plans, 1 to {MOST_SECONDS}")
        parser.add_argument("--take-over", action="store_true", help="make the proposed days into day plans")

    def handle(self, *args: Any, **options: Any) -> None:
        yard = yard_named(options["yard"])
        day = options["date"] or clock.local_date(yard.timezone, clock.now()) + timedelta(days=7)
        seconds = 2 * settings.WALLDAY_PLAN_SECONDS if options["seconds"] is None else options["seconds"]
        if not 1 <= seconds <= MOST_SECONDS:
            raise CommandError(f"--seconds must be from 1 to {MOST_SECONDS}.")
        try:
            week = week_plan_make(yard=yard, day=day, seconds=seconds)
            if options["take_over"]:
                week_take_over(week_id=week.pk)
        except WalldayError as error:
            raise CommandError(error.message) from error
        for line in _lines(week_plan_by_id(week_id=week.pk)):
            self.stdout.write(line)


def _lines(week: WeekPlan) -> list[str]:
    page = week_on_page(yard=week.yard, first_day=week.first_day, week=week)
    lines = [
        f"{week.yard}, week of {week.first_day}, {week.get_state_display()}",
        f"Value {_money(week.value_cents or 0)}, at most {_money(week.upper_bound_cents or 0)} possible. "
        f"Drive times: {week.drive_source}.",
        *(f"! {words}" for words in page.warnings),
    ]
    for day in page.days:
        lines += ["", f"{day.work_date}: {day.stop_count} stops, {_money(day.value_cents)}"]
        for route in day.routes:
            lines.append(f"  {route.crew}")
            lines += [
                f"    {s.start:>8} to {s.finish:>8}  job {s.job.pk:<6} {s.job.property.street}" for s in route.stops
            ]
    return [*lines, "", f"Left out: {len(page.left_out)}"]


def _stop_line(stop: WeekStop) -> str:
    return f"    {stop.start:>8} to {stop.finish:>8}  job {stop.job.pk:<6} {stop.job.property.street}"


def _money(cents: float) -> str:
    return format_cents(round_half_up(cents))
