"""The three moments of the morning on one page: the routes, the kinds of job below the target, who is due."""

from dataclasses import dataclass
from datetime import date, datetime

from django.db.models import Count, Prefetch

from jobs.reminders.listing import DueSheet
from jobs.reminders.narrowing import DueWish
from jobs.reminders.selectors import DueItem, inbound_texts
from pricing.catalogue.selectors import NoTargetYet
from pricing.earnings.domain.report import EarningsReport, GroupEarnings
from pricing.earnings.domain.verdict import Verdict
from pricing.earnings.selectors import earnings_report
from pricing.earnings.wording import remedy_sentence
from routing.dispatch.models import MarkKind, StopMark
from routing.plans.models import DayPlan, Route, Yard
from routing.plans.selectors.days import day_to_show
from routing.plans.selectors.hours import wall_minute
from shared import clock
from shared.company.selectors import company_get
from shared.outbox.models import SendingSwitch
from shared.outbox.selectors import sending_switch_get, unknown_list

FIRST_DUE = 5


@dataclass(frozen=True)
class RouteToday:
    """One crew's day in a line; minutes are those of the clock."""

    route_id: int
    crew_name: str
    leave: int
    back: int
    stops: int
    finished: int
    value_cents: float


@dataclass(frozen=True)
class YardToday:
    yard: Yard
    work_date: date
    plan: DayPlan | None
    routes: tuple[RouteToday, ...]
    left_out: int


@dataclass(frozen=True)
class KindBelow:
    kind: GroupEarnings
    advice: str


@dataclass(frozen=True)
class MessagesToday:
    """What about messages waits for a person: those of unknown result, texts that nobody has read, and the switch."""

    switch: SendingSwitch
    unknown: int
    unread_texts: int


@dataclass(frozen=True)
class TodayPage:
    """`report` is None where no target is in force; `no_target` then says so."""

    work_date: date
    yards: tuple[YardToday, ...]
    report: EarningsReport | None
    no_target: str
    below: tuple[KindBelow, ...]
    due_count: int
    ready_count: int
    due_first: tuple[DueItem, ...]
    messages: MessagesToday


def today_page(*, now: datetime) -> TodayPage:
    company = company_get()
    work_date = clock.local_date(company.timezone, now)
    report, no_target = _report(work_date)
    kinds = report.groups if report else ()
    below = (kind for kind in kinds if kind.verdict == Verdict.BELOW)
    target = report.target_cents_per_crew_hour if report else 0
    due = DueSheet(today=work_date, wish=DueWish(state="ready"))
    return TodayPage(
        work_date=work_date,
        yards=_yards(now),
        report=report,
        no_target=no_target,
        below=tuple(KindBelow(kind, remedy_sentence(kind, target, company.currency)) for kind in below),
        due_count=due.due_count,
        ready_count=due.ready_count,
        due_first=tuple(due[:FIRST_DUE]),
        messages=MessagesToday(
            switch=sending_switch_get(),
            unknown=unknown_list(now=now).count(),
            unread_texts=inbound_texts(unread_only=True).count(),
        ),
    )


def _report(work_date: date) -> tuple[EarningsReport | None, str]:
    try:
        return earnings_report(since=None, until=work_date), ""
    except NoTargetYet as error:
        return None, error.message


def _yards(now: datetime) -> tuple[YardToday, ...]:
    """Each yard's present day, or the next one on which a crew works; queries do not grow with the number of crews."""
    return tuple(
        _yard(yard, day_to_show(yard=yard, today=clock.local_date(yard.timezone, now)))
        for yard in Yard.objects.order_by("code")
    )


def _yard(yard: Yard, work_date: date) -> YardToday:
    routes = Route.objects.select_related("crew").order_by("crew__code", "id").prefetch_related("stops")
    plans = DayPlan.objects.filter(yard=yard, work_date=work_date).annotate(left_out_count=Count("left_out"))
    plan = plans.prefetch_related(Prefetch("routes", routes)).first()
    if plan is None:
        return YardToday(yard, work_date, None, (), 0)
    finished = set(
        StopMark.objects.filter(crew__yard=yard, work_date=work_date, kind=MarkKind.FINISHED).values_list(
            "job_id", flat=True
        )
    )
    rows = tuple(_route(plan, yard, route, finished) for route in plan.routes.all())
    return YardToday(yard, work_date, plan, rows, plan.left_out_count)


def _route(plan: DayPlan, yard: Yard, route: Route, finished: set[int]) -> RouteToday:
    stops = list(route.stops.all())
    return RouteToday(
        route_id=route.pk,
        crew_name=route.crew.name,
        leave=wall_minute(plan.work_date, route.leave_minute, yard.timezone),
        back=wall_minute(plan.work_date, route.back_minute, yard.timezone),
        stops=len(stops),
        finished=sum(stop.job_id in finished for stop in stops),
        value_cents=route.value_cents,
    )
