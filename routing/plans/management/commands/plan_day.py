import json
from argparse import ArgumentParser
from datetime import date
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from routing.plans.choices import PlanObjective
from routing.plans.models import MOST_SECONDS, DayPlan, Route, Stop, Yard
from routing.plans.selectors import plan_as_json, yard_by_code, yard_list
from routing.plans.selectors.hours import clock_text
from routing.plans.services import day_plan_make
from shared import clock
from shared.errors import WalldayError
from shared.money import format_cents
from shared.units import round_half_up


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
        yard = _yard(options["yard"])
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
        for line in _lines(plan):
            self.stdout.write(line)


def _yard(code: str | None) -> Yard:
    yards = list(yard_list())
    if code:
        try:
            return yard_by_code(code=code)
        except WalldayError as error:
            raise CommandError(error.message) from error
    if len(yards) != 1:
        raise CommandError(
            f"Name the yard with --yard: {', '.join(yard.code for yard in yards) or 'there is none yet'}."
        )
    return yards[0]


def _lines(plan: DayPlan) -> list[str]:
    head = [
        f"{plan.yard} {plan.work_date.isoformat()}, version {plan.version}, {plan.plan['status']}",
        f"Value {_money(plan.value_cents)}, at most {_money(plan.upper_bound_cents)} possible. "
        f"Drive times: {plan.drive_source}.",
    ]
    told = [*plan.plan.get("reasons", []), *plan.notices]
    routes = [line for route in plan.routes.all() for line in _route_lines(plan, route)]
    return [*head, *(f"! {words}" for words in told), *routes, *_left_out_lines(plan)]


def _route_lines(plan: DayPlan, route: Route) -> list[str]:
    head = (
        f"{route.crew}: {_clock(plan, route.leave_minute)} to {_clock(plan, route.back_minute)}, "
        f"{route.drive_minutes} min driving, worth {_money(route.value_cents)}"
    )
    return ["", head, *(_stop_line(plan, stop) for stop in route.stops.all())]


def _stop_line(plan: DayPlan, stop: Stop) -> str:
    services = ", ".join(line.service.name for line in stop.job.lines.all())
    start, finish = _clock(plan, stop.start_minute), _clock(plan, stop.finish_minute)
    return (
        f"  {stop.position:>2}  {start:>8} to {finish:>8}  job {stop.job_id:<6} {stop.job.property.street}: {services}"
    )


def _left_out_lines(plan: DayPlan) -> list[str]:
    entries = list(plan.left_out.all())
    lines = [f"  job {left.job_id:<6} {left.job.property.street}: {left.get_reason_display()}" for left in entries]
    return ["", f"Left out: {len(entries)}", *lines] if entries else []


def _clock(plan: DayPlan, minute: int) -> str:
    return clock_text(plan.work_date, minute, plan.yard.timezone)


def _money(cents: float) -> str:
    return format_cents(round_half_up(cents))
