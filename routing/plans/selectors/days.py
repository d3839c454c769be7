"""Day plans as they are stored, for pages, commands and the API."""

from datetime import date, timedelta
from typing import Any

from django.db.models import F, Prefetch, QuerySet
from django.utils.translation import gettext as _

from jobs.work.models import Job
from routing.plans.domain.keys import job_key
from routing.plans.models import DayPlan, LeftOut, PlanRun, Route, Stop, Yard
from routing.plans.selectors.shifts import shifts_between
from shared.errors import NotFound

LOOK_AROUND = timedelta(days=21)


def yard_list() -> QuerySet[Yard]:
    return Yard.objects.order_by("code")


def yard_by_code(*, code: str) -> Yard:
    """Raises NotFound."""
    yard = Yard.objects.filter(code=code).first()
    if yard is None:
        raise NotFound(_("There is no yard with the code %(code)s.") % {"code": code})
    return yard


def day_plan_list(*, yard_code: str = "", work_date: date | None = None) -> QuerySet[DayPlan]:
    """All plans, the latest day first, without their problems; narrowed by yard and day where they are given."""
    plans = DayPlan.objects.select_related("yard").defer("problem").order_by("-work_date", "yard", "id")
    plans = plans.filter(yard__code=yard_code) if yard_code else plans
    return plans.filter(work_date=work_date) if work_date else plans


def day_plan_get(*, yard: Yard, work_date: date) -> DayPlan | None:
    """The plan of a yard's day with its routes, stops and left-out jobs; None where none was made yet."""
    return plan_in_rows().filter(yard=yard, work_date=work_date).first()


def day_plan_by_id(*, plan_id: int) -> DayPlan:
    """The same by id. Raises NotFound."""
    plan = plan_in_rows().filter(pk=plan_id).first()
    if plan is None:
        raise NotFound(_("There is no such day plan."))
    return plan


def plan_in_rows() -> QuerySet[DayPlan]:
    """Plans with everything that a page about them shows, in a fixed number of queries."""
    jobs = Job.objects.select_related("property__customer").prefetch_related("lines__service")
    stops = Stop.objects.order_by("position", "id").prefetch_related(Prefetch("job", jobs))
    routes = (
        Route.objects.select_related("crew").order_by("crew__code", "id").prefetch_related(Prefetch("stops", stops))
    )
    cheapest_first = F("price_to_place_cents").asc(nulls_last=True)
    left_out = LeftOut.objects.order_by(cheapest_first, "job_id").prefetch_related(Prefetch("job", jobs))
    return DayPlan.objects.select_related("yard").prefetch_related(
        Prefetch("routes", routes), Prefetch("left_out", left_out)
    )


def plan_run_latest(*, yard: Yard, work_date: date) -> PlanRun | None:
    """The newest planning run of a day."""
    return PlanRun.objects.filter(yard=yard, work_date=work_date).select_related("yard").first()


def plan_as_json(plan: DayPlan) -> dict[str, Any]:
    """The plan as day-plan/1 with further keys.

    `id`, `yard` (its code), `work_date`, `version`, `state`, `drive_source` (where the drive times came from),
    `inputs_digest` (SHA-256 of the problem), `solved_at`, `changed_at`, `notices` (sentences) and `not_in_problem`:
    jobs of the day that could not go into the problem, each with its reason. Entries of `left_out` that a person
    decided carry a `note`.
    """
    outside = [entry for entry in plan.left_out.all() if job_key(entry.job_id) not in _left_out_keys(plan)]
    return {
        **plan.plan,
        "id": plan.pk,
        "yard": plan.yard.code,
        "work_date": plan.work_date.isoformat(),
        "version": plan.version,
        "state": plan.state,
        "drive_source": plan.drive_source,
        "inputs_digest": plan.inputs_digest,
        "solved_at": plan.solved_at.isoformat(),
        "changed_at": plan.changed_at.isoformat(),
        "notices": plan.notices,
        "not_in_problem": [
            {"job": job_key(entry.job_id), "reason": entry.reason, "note": entry.note} for entry in outside
        ],
    }


def _left_out_keys(plan: DayPlan) -> set[str]:
    return {entry["job"] for entry in plan.plan["left_out"]}


def day_to_show(*, yard: Yard, today: date) -> date:
    """The day that a yard looks at today: this one if it is planned or a crew works, else the next one with a crew."""
    if DayPlan.objects.filter(yard=yard, work_date=today).exists():
        return today
    return working_days_around(yard=yard, work_date=today - timedelta(days=1))[1]


def working_days_around(*, yard: Yard, work_date: date) -> tuple[date, date]:
    """The nearest days before and after on which a crew of the yard works: by pattern, exceptions counted.

    Where nobody works within three weeks it is the day before or after on the calendar.
    """
    first, last = work_date - LOOK_AROUND, work_date + LOOK_AROUND
    shifts = shifts_between(crews=list(yard.crews.filter(is_active=True)), first=first, last=last)
    working = {day for (_crew, day), shift in shifts.items() if shift.hours is not None}
    before = max((day for day in working if day < work_date), default=work_date - timedelta(days=1))
    return before, min((day for day in working if day > work_date), default=work_date + timedelta(days=1))
