"""A checked plan into rows. Rows of crews and jobs that stay keep their ids, so that addresses of route sheets and
stops go on working after a change."""

from collections.abc import Iterable

from pricing.earnings.domain.driving import driving_shares
from routing.plans.choices import LeftOutReason
from routing.plans.domain.keys import job_id_of
from routing.plans.models import Crew, DayPlan, LeftOut, Route, Stop
from routing.plans.selectors.inputs import SetAside
from routing.solver import Plan, Problem, RoutePlan
from shared.background.services import enqueue

FIND_WAYS = "plans.find_ways"
_ROUTE_FIELDS = (
    "leave_minute",
    "back_minute",
    "break_minute",
    "drive_minutes",
    "drive_metres",
    "paid_minutes",
    "value_cents",
)
_STOP_FIELDS = (
    "route_id",
    "position",
    "arrive_minute",
    "start_minute",
    "finish_minute",
    "drive_minutes",
    "drive_metres",
)


def plan_rows_replace(
    *, plan: DayPlan, problem: Problem, content: Plan, taken_out: Iterable[int], set_aside: Iterable[SetAside]
) -> None:
    """Make the rows under `plan` say what `content` says. Inside the caller's transaction; after it the ways of the
    routes are searched in the background."""
    routes = _routes(plan, content)
    _stops(plan, problem, content, routes)
    plan.routes.exclude(pk__in=[route.pk for route in routes.values()]).delete()
    _left_out(plan, content, set(taken_out), set_aside)
    enqueue(FIND_WAYS, plan_id=plan.pk)


def _routes(plan: DayPlan, content: Plan) -> dict[str, Route]:
    """The route of each crew that drives, by the crew's code; those of other crews are still there."""
    crews = {crew.code: crew for crew in Crew.objects.filter(code__in=[route.crew for route in content.routes])}
    present = {route.crew_id: route for route in plan.routes.all()}
    rows = {}
    for route in content.routes:
        crew = crews[route.crew]
        row = present.get(crew.pk) or Route(plan=plan, crew=crew)
        _fill_route(row, route)
        rows[route.crew] = row
    Route.objects.bulk_update([row for row in rows.values() if row.pk], _ROUTE_FIELDS)
    for row in rows.values():
        if row.pk is None:
            row.save()
    return rows


def _fill_route(row: Route, route: RoutePlan) -> None:
    row.leave_minute, row.back_minute, row.break_minute = route.leave, route.back, route.break_start
    row.drive_minutes, row.drive_metres = route.drive_minutes, route.drive_metres
    row.paid_minutes, row.value_cents = route.paid_minutes, route.value_cents


def _stops(plan: DayPlan, problem: Problem, content: Plan, routes: dict[str, Route]) -> None:
    present = {stop.job_id: stop for stop in Stop.objects.filter(route__plan=plan)}
    kept: list[Stop] = []
    new: list[Stop] = []
    for route in content.routes:
        shares = zip(*_driving(problem, route), strict=True)
        for position, (stop, (minutes, metres)) in enumerate(zip(route.stops, shares, strict=True), start=1):
            row = present.get(job_id_of(stop.job)) or Stop(job_id=job_id_of(stop.job))
            row.route, row.position = routes[route.crew], position
            row.arrive_minute, row.start_minute, row.finish_minute = stop.arrive, stop.start, stop.finish
            row.drive_minutes, row.drive_metres = minutes, metres
            (kept if row.pk else new).append(row)
    gone = set(present) - {row.job_id for row in kept}
    Stop.objects.filter(route__plan=plan, job_id__in=gone).delete()
    _move_aside(kept)
    Stop.objects.bulk_update(kept, [name.removesuffix("_id") for name in _STOP_FIELDS])
    Stop.objects.bulk_create(new)


def _move_aside(stops: list[Stop]) -> None:
    """Free the positions first: a database that checks uniqueness row by row would refuse an exchange."""
    wanted = [stop.position for stop in stops]
    for number, stop in enumerate(stops):
        stop.position = 10_000 + number
    Stop.objects.bulk_update(stops, ["position"])
    for stop, position in zip(stops, wanted, strict=True):
        stop.position = position


def _driving(problem: Problem, route: RoutePlan) -> tuple[list[int], list[int]]:
    """Each stop's share of the route's drive minutes and metres."""
    crew, at = problem.crew_by_id[route.crew], problem.place_index
    order = [at[problem.job_by_id[job].place] for job in route.job_ids]
    start, end = at[crew.start], at[crew.end]
    minutes = driving_shares(problem.drive_minutes, order, start, end)
    return minutes, driving_shares(problem.drive_metres, order, start, end)


def _left_out(plan: DayPlan, content: Plan, taken_out: set[int], set_aside: Iterable[SetAside]) -> None:
    plan.left_out.all().delete()
    rows = [LeftOut(plan=plan, job_id=entry.job_id, reason=entry.reason, note=entry.note) for entry in set_aside]
    for left in content.left_out:
        job_id = job_id_of(left.job)
        by_hand = job_id in taken_out
        rows.append(
            LeftOut(
                plan=plan,
                job_id=job_id,
                reason=LeftOutReason.TAKEN_OUT if by_hand else left.reason,
                price_to_place_cents=None if by_hand else left.price_to_place_cents,
            )
        )
    LeftOut.objects.bulk_create(rows)
