from collections.abc import Iterable, Sequence
from dataclasses import asdict
from datetime import datetime
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from jobs.work.choices import JobState
from jobs.work.models import Job
from jobs.work.services import job_mark_agreed_again, job_mark_planned
from routing.dispatch.domain.changes import Change, CrewDay, StopTime, day_changes
from routing.dispatch.errors import NothingToSend, PlanStale, version_now
from routing.dispatch.models import SentPlan, SentRoute, SentStop
from routing.dispatch.selectors.driving import problem_of, route_drives
from routing.dispatch.selectors.sent import sent_plan_latest
from routing.plans.choices import PlanState
from routing.plans.models import DayPlan, Route, Stop
from routing.solver import Problem
from shared import clock
from shared.errors import Conflict
from shared.events.services import event_record

READY = (JobState.AGREED, JobState.PLANNED, JobState.ON_SITE, JobState.DONE)


@transaction.atomic
def plan_send_out(*, plan: DayPlan, expected_version: int, actor: Any = None, now: datetime | None = None) -> SentPlan:
    """Freeze the plan as its next version and tell what changed since the one before.

    Its jobs become planned; those that were sent out before and are on no route now go back to agreed. Raises
    PlanStale where somebody changed the plan meanwhile, NothingToSend, and Conflict for a job that was closed.
    """
    routes = list(plan.routes.select_related("crew").prefetch_related("stops__job__property"))
    before = sent_plan_latest(plan=plan)
    days = [_crew_day(route) for route in routes]
    changes = day_changes([_crew_day(route) for route in before.routes.all()] if before else [], days)
    _require_news(days, before, changes)
    jobs = {stop.job_id: stop.job for route in routes for stop in route.stops.all()}
    _require_open(jobs.values())
    _claim(plan, expected_version)
    sent = _freeze(plan, routes, before, changes, actor, now or clock.now())
    _jobs_follow(plan, jobs, before, actor)
    event_record(kind="plan.sent_out", subject=plan, actor=actor, data={"number": sent.number, "stops": len(jobs)})
    return sent


def _crew_day(route: Route | SentRoute) -> CrewDay:
    stops = sorted(route.stops.all(), key=lambda stop: stop.position)
    times = (StopTime(stop.job_id, stop.job.property.street, stop.arrive_minute) for stop in stops)
    return CrewDay(route.crew.code, route.leave_minute, tuple(times))


def _require_news(days: Sequence[CrewDay], before: SentPlan | None, changes: Sequence[Change]) -> None:
    if before is None and not any(day.stops for day in days):
        raise NothingToSend(_("There is no stop on this plan yet."))
    if before is not None and not changes:
        words = _("Nothing that a crew would notice has changed since version %(number)s.")
        raise NothingToSend(words % {"number": before.number}, number=before.number)


def _require_open(jobs: Iterable[Job]) -> None:
    for job in jobs:
        if job.state not in READY:
            words = _("Job %(number)s, %(street)s, is %(state)s. Take it out of the plan first.")
            names = {"number": job.pk, "street": job.property.street, "state": job.get_state_display()}
            raise Conflict(words % names, job=job.pk, state=job.state)


def _claim(plan: DayPlan, expected_version: int) -> None:
    """Only one of two people who send out the same version gets through."""
    row = DayPlan.objects.filter(pk=plan.pk, version=expected_version)
    if not row.update(version=expected_version + 1, state=PlanState.SENT_OUT):
        words = _("Somebody else changed this plan meanwhile. Look at it again before you send it out.")
        raise PlanStale(words, version=version_now(plan))
    plan.version, plan.state = expected_version + 1, PlanState.SENT_OUT


def _freeze(
    plan: DayPlan, routes: list[Route], before: SentPlan | None, changes: Sequence[Change], actor: Any, at: datetime
) -> SentPlan:
    sent = SentPlan.objects.create(
        plan=plan,
        number=before.number + 1 if before else 1,
        content=plan.plan,
        changes=[asdict(change) for change in changes] if before else [],
        sent_at=at,
        sent_by=actor,
    )
    problem = problem_of(plan)
    for route in routes:
        _freeze_route(sent, route, problem)
    return sent


def _freeze_route(sent: SentPlan, route: Route, problem: Problem) -> None:
    stops = sorted(route.stops.all(), key=lambda stop: stop.position)
    if not stops:
        return
    drives = route_drives(problem=problem, crew_code=route.crew.code, job_ids=[stop.job_id for stop in stops])
    row = SentRoute.objects.create(
        sent=sent,
        crew=route.crew,
        leave_minute=route.leave_minute,
        back_minute=route.back_minute,
        break_minute=route.break_minute,
        break_length_minutes=drives.break_minutes,
        drive_minutes=route.drive_minutes,
        drive_metres=route.drive_metres,
        home_leg_minutes=drives.home[0],
        home_leg_metres=drives.home[1],
        paid_minutes=route.paid_minutes,
    )
    SentStop.objects.bulk_create(_frozen_stop(row, stop, leg) for stop, leg in zip(stops, drives.legs, strict=True))


def _frozen_stop(route: SentRoute, stop: Stop, leg: tuple[int, int]) -> SentStop:
    return SentStop(
        route=route,
        job=stop.job,
        position=stop.position,
        arrive_minute=stop.arrive_minute,
        start_minute=stop.start_minute,
        finish_minute=stop.finish_minute,
        leg_minutes=leg[0],
        leg_metres=leg[1],
        drive_minutes=stop.drive_minutes,
        drive_metres=stop.drive_metres,
    )


def _jobs_follow(plan: DayPlan, jobs: dict[int, Job], before: SentPlan | None, actor: Any) -> None:
    for job in jobs.values():
        if job.state == JobState.AGREED:
            job_mark_planned(job=job, work_date=plan.work_date, actor=actor)
    if before is None:
        return
    told = {stop.job_id for route in before.routes.all() for stop in route.stops.all()}
    dropped = Job.objects.filter(pk__in=told - jobs.keys(), state=JobState.PLANNED)
    for job in dropped.exclude(pk__in=_on_other_plans(plan)):
        job_mark_agreed_again(job=job, reason=_("no longer on the plan of its day"), actor=actor)


def _on_other_plans(plan: DayPlan) -> list[int]:
    """Jobs that a plan of another yard or a later day has taken over and sent out."""
    others = Stop.objects.filter(route__plan__work_date__gte=plan.work_date).exclude(route__plan=plan)
    return list(others.exclude(route__plan__state=PlanState.DRAFT).values_list("job_id", flat=True))
