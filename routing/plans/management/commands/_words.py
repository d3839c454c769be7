"""What the commands of this room share: finding the yard, and a plan in lines of text."""

from django.core.management.base import CommandError

from routing.plans.models import DayPlan, Route, Stop, Yard
from routing.plans.selectors import yard_by_code, yard_list
from routing.plans.selectors.hours import clock_text
from shared.errors import WalldayError
from shared.money import format_cents
from shared.units import round_half_up


def yard_named(code: str | None) -> Yard:
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


def plan_lines(plan: DayPlan) -> list[str]:
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
