"""The three moments on one screen of 80 columns: the morning's routes, the kinds of job, who is due."""

import textwrap
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from datetime import date

from jobs.reminders.selectors import DueItem
from pricing.earnings.domain.report import EarningsReport, GroupEarnings
from pricing.earnings.wording import hourly_words, interval_words, verdict_word, whole_money
from routing.demo.domain.company import people
from routing.demo.services import DemoCounts
from routing.plans.models import DayPlan, Route, Stop
from routing.plans.selectors.hours import clock_text
from shared.money import format_cents
from shared.units import metres_to_miles, round_half_up

WIDTH = 80
FIRST_DUE = 5


def screen(
    name: str, counts: DemoCounts, plan: DayPlan, report: EarningsReport, due: Sequence[DueItem], currency: str
) -> str:
    """All of it as text, no line longer than 80 columns."""
    head = (
        f"{name}, an invented company: {counts.customers} customers, {counts.properties} properties, "
        f"{counts.jobs_done:,} jobs done, {counts.jobs_open} open."
    )
    parts = (
        _wrapped(head),
        _morning(plan, currency),
        _kinds(report, currency),
        _due(due),
    )
    return "\n\n".join("\n".join(fit(line) for line in part) for part in parts)


def fit(line: str, width: int = WIDTH) -> str:
    """The line, cut with three dots where it is too long."""
    return line if len(line) <= width else line[: width - 3].rstrip() + "..."


def sign_ins(address: str) -> str:
    """Where to look and as whom."""
    rows = [f"  {person.role.replace('_', ' '):<10} {person.username:<11} {person.password}" for person in people()]
    return "\n".join([f"Open {address} and sign in (role, name, password):", *rows])


def _wrapped(text: str) -> list[str]:
    return textwrap.wrap(text, WIDTH)


def _morning(plan: DayPlan, currency: str) -> list[str]:
    content = plan.plan
    head = [
        f"1. THE MORNING OF {_day(plan.work_date)}: {content['status']}",
        f"Worth {_money(plan.value_cents, currency)}; no plan is worth more than "
        f"{_money(plan.upper_bound_cents, currency)} (gap {100 * content['gap']:.2f} %).",
        f"Drive times: {plan.drive_source}.",
    ]
    told = [f"! {words}" for words in (*content.get("reasons", []), *plan.notices)]
    routes = [line for route in plan.routes.all() for line in _route(plan, route, currency)]
    return [*head, *told, *routes, *_left_out(plan)]


def _route(plan: DayPlan, route: Route, currency: str) -> Iterator[str]:
    yield (
        f"{route.crew.name}: {_clock(plan, route.leave_minute)} to {_clock(plan, route.back_minute)}, "
        f"{route.drive_minutes} min and {metres_to_miles(route.drive_metres):.0f} mi driving, "
        f"worth {_money(route.value_cents, currency)}"
    )
    for stop in route.stops.all():
        yield _stop(plan, stop, currency)


def _stop(plan: DayPlan, stop: Stop, currency: str) -> str:
    lines = list(stop.job.lines.all())
    services = " + ".join(line.service.name for line in lines)
    price = whole_money(sum(line.price_cents for line in lines) - stop.job.discount_cents, currency)
    times = f"{_clock(plan, stop.start_minute)}-{_clock(plan, stop.finish_minute)}"
    return f"  {times:<19} {price:>6}  {fit(services, 24):<24} {fit(stop.job.property.street, 26)}"


def _left_out(plan: DayPlan) -> list[str]:
    reasons = Counter(str(entry.get_reason_display()) for entry in plan.left_out.all())
    if not reasons:
        return []
    told = "; ".join(f"{count} {reason}" for reason, count in reasons.most_common())
    return _wrapped(f"Left out, {sum(reasons.values())}: {told}.")


def _kinds(report: EarningsReport, currency: str) -> list[str]:
    target = whole_money(report.target_cents_per_crew_hour, currency)
    head = f"2. KINDS OF JOB against the target of {target} a crew-hour, driving included, 90 % intervals"
    return [*_wrapped(head), *(_kind(kind, currency) for kind in report.groups)]


def _kind(kind: GroupEarnings, currency: str) -> str:
    return (
        f"  {kind.sums.name:<20} {verdict_word(kind.verdict):<19} {hourly_words(kind.earned, currency):>6}  "
        f"{interval_words(kind.earned, currency):>14}  {kind.jobs:>4} jobs"
    )


def _due(due: Sequence[DueItem]) -> list[str]:
    places = len({item.property_id for item in due})
    ready = sum(item.is_ready for item in due)
    head = f"3. DUE: {len(due)} services at {places} properties; {ready} may be reminded now. The first:"
    return [head, *_first_due(due)]


def _first_due(due: Iterable[DueItem]) -> Iterator[str]:
    for item, _count in zip(due, range(FIRST_DUE), strict=False):
        yield f"  {item.due_on}  {item.customer_name}: {item.reason}"


def _day(day: date) -> str:
    return f"{day:%A} {day.isoformat()}"


def _clock(plan: DayPlan, minute: int) -> str:
    return clock_text(plan.work_date, minute, plan.yard.timezone)


def _money(cents: float, currency: str) -> str:
    return format_cents(round_half_up(cents), currency)
