"""Whatever a small company's rows hold, a stored plan has no fault, before and after changes by hand."""

from datetime import UTC, date, datetime
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.extra.django import TestCase

from routing.plans import services
from routing.plans.choices import ChangeKind
from routing.plans.errors import NotDecided
from routing.plans.models import DayPlan, Stop, Yard
from routing.plans.services import runs
from routing.solver import Plan, Problem, RoundLimit, evaluate, parse_plan, parse_problem, solve
from shared.errors import WalldayError
from tests import factories

DAY = date(2026, 6, 3)
MORNING = datetime(2026, 6, 3, 10, 0, tzinfo=UTC)  # 6:00 at the yard
EXAMPLES = 25
SKILLS = ("roof", "ladder")

minutes = st.integers(0, 1439)
spans = st.tuples(minutes, minutes).map(sorted)
skills = st.sets(st.sampled_from(SKILLS), max_size=2)
crews = st.fixed_dictionaries(
    {
        "skills": skills,
        "hours": st.tuples(st.integers(300, 600), st.integers(601, 1300)),
        "workers": st.integers(1, 4),
        "pace_percent": st.integers(50, 200),
        "wage_cents_per_hour": st.integers(0, 12_000),
        "fixed_cents": st.integers(0, 5_000),
        "break_minutes": st.sampled_from([0, 30, 60]),
        "break_from": spans,
        "is_paid": st.booleans(),
        "overtime": st.sampled_from([None, 0, 300, 480]),
    }
)
jobs = st.fixed_dictionaries(
    {
        "place": st.tuples(st.floats(39.8, 40.2), st.floats(-82.2, -81.8)),
        "price_cents": st.integers(-5_000, 90_000),
        "materials_cents": st.integers(0, 10_000),
        "discount_cents": st.integers(0, 10_000),
        "estimated_minutes": st.integers(0, 400),
        "windows": st.lists(spans, min_size=1, max_size=2),
        "skills": skills,
        "promised": st.booleans(),
    }
)
changes = st.lists(
    st.tuples(st.sampled_from(ChangeKind.values), st.integers(0, 5), st.integers(0, 2), st.integers(1, 4)), max_size=6
)
companies = st.tuples(st.lists(crews, min_size=1, max_size=3), st.lists(jobs, min_size=1, max_size=6), changes)


def build(crews_given: list[dict[str, Any]], jobs_given: list[dict[str, Any]]) -> tuple[Any, list[int], list[str]]:
    yard = factories.make_yard(latitude=40.0, longitude=-82.0)
    known = {code: factories.make_skill(code=code) for code in SKILLS}
    codes = [_crew(yard, known, number, given) for number, given in enumerate(crews_given)]
    return yard, [_job(known, given) for given in jobs_given], codes


def _crew(yard: Any, known: dict[str, Any], number: int, given: dict[str, Any]) -> str:
    plain = {name: given[name] for name in ("workers", "pace_percent", "wage_cents_per_hour", "fixed_cents")}
    code = f"crew-{number}"
    crew = factories.make_crew(yard=yard, code=code, skills=[known[s] for s in given["skills"]], **plain)
    crew.patterns.update(
        start_minute=given["hours"][0],
        end_minute=given["hours"][1],
        break_minutes=given["break_minutes"],
        break_from_minute=given["break_from"][0],
        break_until_minute=given["break_from"][1],
        break_is_paid=given["is_paid"],
        overtime_after_minutes=given["overtime"],
    )
    return code


def _job(known: dict[str, Any], given: dict[str, Any]) -> int:
    latitude, longitude = given["place"]
    service = factories.make_service(skills=[known[s] for s in given["skills"]])
    line = {name: given[name] for name in ("price_cents", "materials_cents", "estimated_minutes")}
    windows = [
        {"first_date": DAY, "last_date": DAY, "start_minute": a, "end_minute": b, "promised": given["promised"]}
        for a, b in given["windows"]
    ]
    job = factories.make_job(
        property=factories.make_property(latitude=latitude, longitude=longitude),
        lines=[line | {"service": service}],
        windows=windows,
        discount_cents=given["discount_cents"],
    )
    return int(job.pk)


def check(plan: DayPlan) -> None:
    """The stored plan keeps every rule, and the rows say the same as the plan."""
    problem, content = parse_problem(plan.problem), parse_plan(plan.plan)
    assert evaluate(problem, content).faults == ()
    rows = {
        route.crew.code: [
            (f"J{stop.job_id}", stop.arrive_minute, stop.start_minute, stop.finish_minute) for stop in route.stops.all()
        ]
        for route in plan.routes.all()
    }
    assert rows == {
        route.crew: [(stop.job, stop.arrive, stop.start, stop.finish) for stop in route.stops]
        for route in content.routes
    }
    for route in plan.routes.all():
        assert sum(stop.drive_minutes for stop in route.stops.all()) == route.drive_minutes
        assert sum(stop.drive_metres for stop in route.stops.all()) == route.drive_metres
    assert {f"J{left.job_id}" for left in plan.left_out.all()} == {left.job for left in content.left_out}


class RandomCompanies(TestCase):
    """Each example runs in a transaction of its own, which `hypothesis.extra.django` rolls back."""

    @pytest.fixture(autouse=True)
    def solve_here(self, monkeypatch: pytest.MonkeyPatch) -> None:
        def here(problem: Problem, **kwargs: Any) -> Plan:
            return solve(problem, stop=RoundLimit(0))

        monkeypatch.setattr(runs, "solve_in_child", here)

    @settings(max_examples=EXAMPLES, deadline=None, suppress_health_check=list(HealthCheck))
    @given(companies)
    def test_no_plan_has_a_fault(self, company: tuple[Any, Any, Any]) -> None:
        """Planned, changed by hand as far as the rules allow, planned again: never a fault."""
        crews_given, jobs_given, wanted = company
        yard, job_ids, codes = build(crews_given, jobs_given)
        plan = self._made(yard)
        if plan is None:
            return
        for kind, job, crew, position in wanted:
            plan = self._change(plan, kind, job_ids[job % len(job_ids)], codes[crew % len(codes)], position)
        self._made(yard)
        locked = {stop.job_id: stop.route.crew_id for stop in Stop.objects.filter(is_locked=True)}
        assert locked == {
            stop.job_id: route.crew_id for route in plan.routes.all() for stop in route.stops.all() if stop.is_locked
        }

    def _made(self, yard: Yard) -> DayPlan | None:
        """Without any search it may not be decided whether promises can be kept: then nothing changes."""
        before = list(DayPlan.objects.values())
        try:
            plan = services.day_plan_make(yard=yard, work_date=DAY, seconds=1, now=MORNING)
        except NotDecided:
            assert list(DayPlan.objects.values()) == before
            return None
        check(plan)
        return plan

    def _change(self, plan: DayPlan, kind: str, job_id: int, crew: str, position: int) -> DayPlan:
        try:
            changed = services.plan_change(
                plan_id=plan.pk,
                kind=kind,
                job_id=job_id,
                crew_code=crew,
                position=position,
                expected_version=plan.version,
            )
        except WalldayError:
            changed = DayPlan.objects.get(pk=plan.pk)
            assert changed.version == plan.version
        check(changed)
        return changed
