"""Which rows become the problem of a day, and how."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from jobs.work.services import job_conditions_set
from pricing.catalogue.domain import Access
from pricing.catalogue.models import Service
from pricing.catalogue.services import catalogue_defaults
from pricing.costs.services import worker_terms_set
from pricing.minutes.domain.features import JobFeatures, season_of
from pricing.minutes.domain.forecast import MinutesForecast
from pricing.minutes.inputs import LineBooking
from pricing.minutes.selectors import forecaster_on
from pricing.minutes.services import minutes_choice_set, minutes_import, model_fit
from routing.plans import services
from routing.plans.models import Crew, ShiftPattern
from routing.plans.selectors import DayInputs, day_problem
from shared.company.models import Company
from tests import factories

pytestmark = pytest.mark.django_db


def jobs_of(inputs: DayInputs) -> list[int]:
    return [int(job.id[1:]) for job in inputs.problem.jobs]


@pytest.mark.parametrize(
    ("state", "is_in"),
    [
        ("lead", False),
        ("estimated", False),
        ("agreed", True),
        ("planned", True),
        ("on_site", True),
        ("done", False),
        ("declined", False),
        ("called_off", False),
    ],
)
def test_states(state: str, is_in: bool, day: date, morning: datetime, whole_day: dict[str, Any]) -> None:
    """Only work that was agreed and is not finished is planned."""
    yard = factories.make_crew().yard
    job = factories.make_job(state=state, windows=[whole_day])
    assert (job.pk in jobs_of(day_problem(yard=yard, work_date=day, now=morning))) == is_in


def test_windows_of_the_day_only(day: date, morning: datetime) -> None:
    """Two windows of the day in real minutes; those of other days do not count, nor jobs that have only such."""
    yard = factories.make_crew().yard
    before, after = day - timedelta(days=1), day + timedelta(days=1)
    job = factories.make_job(
        windows=[
            {"first_date": before, "last_date": after, "start_minute": 480, "end_minute": 600},
            {"first_date": day, "last_date": day, "start_minute": 780, "end_minute": 900},
            {"first_date": after, "last_date": after},
        ]
    )
    factories.make_job(windows=[{"first_date": after, "last_date": after}])
    inputs = day_problem(yard=yard, work_date=day, now=morning)
    assert jobs_of(inputs) == [job.pk]
    assert sorted(inputs.problem.jobs[0].windows) == [(480, 600), (780, 900)]
    assert not inputs.problem.jobs[0].must_do


def test_a_promise_for_the_day(day: date, morning: datetime, whole_day: dict[str, Any]) -> None:
    """Only the promised hours count, and the job must be done."""
    yard = factories.make_crew().yard
    promised = {"first_date": day, "last_date": day, "start_minute": 540, "end_minute": 600, "promised": True}
    factories.make_job(windows=[whole_day, promised])
    (job,) = day_problem(yard=yard, work_date=day, now=morning).problem.jobs
    assert (job.windows, job.must_do) == (((540, 600),), True)


@pytest.mark.parametrize(("days", "is_in"), [(1, False), (-3, True)])
def test_a_promise_for_another_day(
    days: int, is_in: bool, day: date, morning: datetime, whole_day: dict[str, Any]
) -> None:
    """A job promised for a day to come belongs to that day; a promise that has passed binds nobody any more."""
    yard = factories.make_crew().yard
    other = day + timedelta(days=days)
    job = factories.make_job(windows=[whole_day, {"first_date": other, "last_date": other, "promised": True}])
    assert (job.pk in jobs_of(day_problem(yard=yard, work_date=day, now=morning))) == is_in


def test_gain_minutes_and_skills(day: date, morning: datetime, whole_day: dict[str, Any]) -> None:
    """Gain 30000 + 12000 - 5000 discount - 1500 - 500 materials = 35000 c; 90 + 45 = 135 min; skills of both lines."""
    yard = factories.make_crew().yard
    roof, ladder = factories.make_skill(code="roof"), factories.make_skill(code="ladder")
    lines = [
        {
            "price_cents": 30_000,
            "materials_cents": 1_500,
            "estimated_minutes": 90,
            "service": factories.make_service(skills=[roof, ladder]),
        },
        {
            "price_cents": 12_000,
            "materials_cents": 500,
            "estimated_minutes": 45,
            "service": factories.make_service(skills=[ladder]),
        },
    ]
    factories.make_job(windows=[whole_day], discount_cents=5_000, lines=lines)
    (job,) = day_problem(yard=yard, work_date=day, now=morning).problem.jobs
    assert (job.gain_cents, job.on_site_minutes, job.needs) == (35_000, 135, ("ladder", "roof"))


@pytest.fixture
def learnt() -> MinutesForecast:
    """Thirty washes of 105 to 114 minutes where the card says 80, ten longer ones with tight access; all learnt.

    Returns what is expected of the next with usual access.
    """
    catalogue_defaults(on=date(2026, 1, 1))
    wash = JobFeatures("house_wash", 1600, season=season_of(6))
    days = [date(2026, 5, 1) + timedelta(days=n) for n in range(30)]
    tight = replace(wash, access=Access.TIGHT)
    rows = [LineBooking(1000 + n, 1000 + n, day, wash, 105 + n % 10) for n, day in enumerate(days)]
    rows += [LineBooking(2000 + n, 2000 + n, day, tight, 160 + n) for n, day in enumerate(days[:10])]
    minutes_import(rows)
    model_fit(today=date(2026, 6, 1))
    forecast = forecaster_on(on=date(2026, 6, 3)).forecast(wash)
    assert forecast is not None
    return forecast


def wash_line(**over: Any) -> dict[str, Any]:
    return {"service": Service.objects.get(code="house_wash"), "quantity": 1600, "estimated_minutes": 100} | over


@pytest.mark.parametrize(("promised", "share"), [("mean", None), ("q50", 0.5), ("q80", 0.8), ("q90", 0.9)])
def test_a_promise_gets_the_chosen_quantile(
    promised: str, share: float | None, learnt: MinutesForecast, day: date, morning: datetime, whole_day: dict[str, Any]
) -> None:
    """100 agreed minutes stretched as the forecast's quantile lies to its mean; without a promise they stay."""
    minutes_choice_set(promised=promised, routes="agreed", actor=None)
    yard = factories.make_crew().yard
    kept = factories.make_job(windows=[whole_day | {"promised": True}], lines=[wash_line()])
    free = factories.make_job(windows=[whole_day], lines=[wash_line()])
    inputs = day_problem(yard=yard, work_date=day, now=morning)
    minutes = {int(job.id[1:]): job.on_site_minutes for job in inputs.problem.jobs}
    stretched = round(100 * learnt.quantile(share) / learnt.mean) if share else 100
    assert minutes == {kept.pk: stretched, free.pk: 100}
    said = "1 job has other minutes than were agreed" in " ".join(inputs.notices)
    assert said == (stretched != 100)


def test_learnt_minutes_heed_access_and_soil(
    learnt: MinutesForecast, day: date, morning: datetime, whole_day: dict[str, Any]
) -> None:
    """The learnt mean where the owner chose it, more of it where access is tight; a free return keeps its own."""
    minutes_choice_set(promised="mean", routes="learnt", actor=None)
    yard = factories.make_crew().yard
    usual, tight = (factories.make_job(windows=[whole_day], lines=[wash_line()]) for _ in range(2))
    back = factories.make_job(windows=[whole_day], lines=[wash_line(estimated_minutes=25)], callback_of=usual)
    job_conditions_set(job=tight, access="tight", soil="usual")
    inputs = day_problem(yard=yard, work_date=day, now=morning)
    minutes = {int(job.id[1:]): job.on_site_minutes for job in inputs.problem.jobs}
    assert minutes[usual.pk] == round(learnt.mean)
    assert minutes[tight.pk] > minutes[usual.pk]
    assert minutes[back.pk] == 25


def test_a_quantile_takes_no_query_per_job(
    learnt: MinutesForecast, day: date, morning: datetime, whole_day: dict[str, Any]
) -> None:
    """Seven jobs are read with as many queries as two."""
    minutes_choice_set(promised="q90", routes="learnt", actor=None)
    yard = factories.make_crew().yard
    day_problem(yard=yard, work_date=day, now=morning)  # the model is read once for all
    counts = []
    for more in (2, 5):
        for _ in range(more):
            factories.make_job(windows=[whole_day | {"promised": True}], lines=[wash_line()])
        with CaptureQueriesContext(connection) as queries:
            day_problem(yard=yard, work_date=day, now=morning)
        counts.append(len(queries))
    assert counts[0] == counts[1]


def test_what_a_crew_costs(day: date, morning: datetime) -> None:
    """6000 c/h with 25 % burden: 7500 / 60 = 125 c a minute, half of it, 62.5 -> 63, for overtime."""
    Company.objects.update_or_create(pk=1, defaults={"wage_burden_percent": 25})
    yard = factories.make_yard()
    truck = factories.make_truck(yard=yard, mix_litres=400, cents_per_km=55)
    skill = factories.make_skill(code="roof")
    factories.make_crew(
        yard=yard, code="north", truck=truck, wage_cents_per_hour=6_000, fixed_cents=900, skills=[skill]
    )
    (crew,) = day_problem(yard=yard, work_date=day, now=morning).problem.crews
    assert (crew.id, crew.start, crew.end, crew.shift, crew.skills) == ("north", "yard", "yard", (450, 1020), ("roof",))
    assert (crew.cents_per_minute, crew.cents_per_km, crew.fixed_cents) == (125, 55, 900)
    assert crew.overtime is not None
    assert (crew.overtime.after_minutes, crew.overtime.extra_cents_per_minute) == (480, 63)
    assert crew.rest is not None
    assert (crew.rest.minutes, crew.rest.window, crew.rest.paid) == (30, (660, 810), False)
    assert crew.capacity == {"mix_litres": 400}


@pytest.mark.parametrize(("workers", "pace", "expected"), [(2, 100, 100), (3, 100, 67), (1, 90, 180), (4, 110, 55)])
def test_crews_of_other_sizes(workers: int, pace: int, expected: int, day: date, morning: datetime) -> None:
    """Minutes are those of two workers: three need 2/3 = 67 %, one alone double."""
    crew = factories.make_crew(workers=workers, pace_percent=pace)
    (found,) = day_problem(yard=crew.yard, work_date=day, now=morning).problem.crews
    assert found.pace_percent == expected


def test_the_reserve_by_workers(day: date, morning: datetime) -> None:
    """9000 c per hour of two workers: a crew of two is held to that, a crew of three to 13500 / 60 = 225 c a minute."""
    factories.make_target(reserve_cents_per_crew_hour=9_000)
    yard = factories.make_yard()
    factories.make_crew(yard=yard, code="a", wage_cents_per_hour=4_000)
    factories.make_crew(yard=yard, code="b", wage_cents_per_hour=6_000, workers=3)
    problem = day_problem(yard=yard, work_date=day, now=morning).problem
    assert problem.reserve_cents_per_crew_hour == 9_000
    assert problem.crew_by_id["a"].cents_per_minute == 75  # 4000 x 1.12 / 60 = 74.7
    assert problem.crew_by_id["b"].cents_per_minute == 225


def test_who_is_on_shift(day: date, morning: datetime) -> None:
    """A day off, no pattern for the weekday, not active and another yard's: none of these is planned."""
    yard = factories.make_yard()
    works = factories.make_crew(yard=yard, code="works")
    other = factories.make_crew(yard=yard, code="other-hours")
    off = factories.make_crew(yard=yard, code="off")
    factories.make_crew(yard=yard, code="gone", is_active=False)
    factories.make_crew(yard=yard, code="never", patterns=False)
    factories.make_crew(code="elsewhere")
    services.shift_exception_set(crew=off, work_date=day, is_off=True)
    services.shift_exception_set(crew=other, work_date=day, is_off=False, hours={"start_minute": 600})
    crews = day_problem(yard=yard, work_date=day, now=morning).problem.crews
    assert [(crew.id, crew.shift) for crew in crews] == [(other.code, (600, 1020)), (works.code, (450, 1020))]


def test_a_job_in_another_plan(day: date, morning: datetime, whole_day: dict[str, Any]) -> None:
    """It is not planned twice; if it was promised for this day, the list says where it stands."""
    crew = factories.make_crew()
    tomorrow = day + timedelta(days=1)
    both = {"first_date": day, "last_date": tomorrow}
    job, promised = factories.make_job(windows=[both]), factories.make_job(windows=[both])
    factories.make_day_plan(yard=crew.yard, work_date=tomorrow, jobs=[job, promised])
    promised.windows.create(**whole_day, promised=True)
    inputs = day_problem(yard=crew.yard, work_date=day, now=morning)
    assert jobs_of(inputs) == []
    assert [(entry.job_id, entry.reason) for entry in inputs.set_aside] == [(promised.pk, "planned_elsewhere")]
    assert any(promised.property.street in words for words in inputs.notices)


def test_a_stop_of_a_past_day_is_free_again(day: date, whole_day: dict[str, Any]) -> None:
    """What was planned for yesterday and not done may be planned for today."""
    crew = factories.make_crew()
    yesterday = day - timedelta(days=1)
    job = factories.make_job(windows=[{"first_date": yesterday, "last_date": day}])
    factories.make_day_plan(yard=crew.yard, work_date=yesterday, jobs=[job])
    noon = datetime(day.year, day.month, day.day, 16, tzinfo=UTC)
    assert jobs_of(day_problem(yard=crew.yard, work_date=day, now=noon)) == [job.pk]


def test_the_crew_that_was_told_is_preferred(day: date, morning: datetime, whole_day: dict[str, Any]) -> None:
    """Only once the plan was sent out: before that nobody was told."""
    crew = factories.make_crew(code="north")
    job = factories.make_job(windows=[whole_day])
    plan = factories.make_day_plan(yard=crew.yard, jobs=[job])
    (before,) = day_problem(yard=crew.yard, work_date=day, now=morning).problem.jobs
    assert before.prefer is None
    type(plan).objects.update(state="sent_out")
    (after,) = day_problem(yard=crew.yard, work_date=day, now=morning).problem.jobs
    assert after.prefer is not None
    assert (after.prefer.crew, after.prefer.cents) == ("north", 1_500)


def test_the_day_under_way(day: date, whole_day: dict[str, Any]) -> None:
    """At 10:00 one stop is done (7:40 to 9:10), one begun at 9:30: both are fixed in that order with their real
    minutes, 90 and the 120 agreed; a third may begin from now (600) on; a window that closed is out of time."""
    crew = factories.make_crew(code="north")
    done, begun, later, missed = (factories.make_job(windows=[whole_day]) for _ in range(4))
    missed.windows.update(end_minute=560)
    morning = datetime(2026, 6, 3, 11, 40, tzinfo=UTC)  # 7:40 at the yard
    for job, start, kinds in ((done, 0, "arrived started finished"), (begun, 110, "arrived started")):
        for kind, offset in zip(kinds.split(), (0, 0, 90), strict=False):
            at = morning + timedelta(minutes=start + offset)
            factories.make_mark(job=job, crew=crew, work_date=day, kind=kind, at=at)
    type(done).objects.filter(pk=done.pk).update(state="done")
    inputs = day_problem(yard=crew.yard, work_date=day, now=morning + timedelta(minutes=140))
    problem = inputs.problem
    assert dict(problem.fixed) == {"north": (f"J{done.pk}", f"J{begun.pk}")}
    first, second = (problem.job_by_id[f"J{job.pk}"] for job in (done, begun))
    assert (first.windows[0][0], first.on_site_minutes) == (460, 90)
    assert (second.windows[0][0], second.on_site_minutes) == (570, 120)
    assert problem.job_by_id[f"J{later.pk}"].windows == ((600, 1439),)
    assert [(entry.job_id, entry.reason) for entry in inputs.set_aside] == [(missed.pk, "window_unreachable")]


@pytest.mark.usefixtures("solve_here")
def test_a_crew_that_runs_late_still_gets_a_plan(day: date, whole_day: dict[str, Any]) -> None:
    """Begun at 16:30 with 120 min to go and a shift until 17:00: the shift is lengthened and the page says so."""
    crew = factories.make_crew(code="north", name="North crew")
    job = factories.make_job(windows=[whole_day])
    at = datetime(2026, 6, 3, 20, 30, tzinfo=UTC)
    factories.make_mark(job=job, crew=crew, work_date=day, at=at)
    plan = services.day_plan_make(yard=crew.yard, work_date=day, seconds=1, now=at)
    (stop,) = plan.routes.get().stops.all()
    assert (stop.start_minute, stop.finish_minute) == (990, 1110)
    assert any("North crew runs late" in words for words in plan.notices)


def test_the_same_rows_have_the_same_digest(day: date, morning: datetime, whole_day: dict[str, Any]) -> None:
    """And another price another one."""
    crew = factories.make_crew()
    job = factories.make_job(windows=[whole_day])
    first = day_problem(yard=crew.yard, work_date=day, now=morning).digest
    assert day_problem(yard=crew.yard, work_date=day, now=morning).digest == first
    job.lines.update(price_cents=40_001)
    assert day_problem(yard=crew.yard, work_date=day, now=morning).digest != first


@pytest.mark.parametrize("number", [1, 7])
def test_queries_do_not_grow(number: int, day: date, morning: datetime, whole_day: dict[str, Any]) -> None:
    """Reading a day takes 18 queries, whatever the number of jobs and crews."""
    yard = factories.make_yard()
    for _ in range(number):
        skill = factories.make_skill()
        factories.make_crew(yard=yard, skills=[skill])
        factories.make_job(windows=[whole_day], lines=[{"service": factories.make_service(skills=[skill])}])
    Company.objects.get_or_create(pk=1)
    with CaptureQueriesContext(connection) as queries:
        inputs = day_problem(yard=yard, work_date=day, now=morning)
    assert len(inputs.problem.jobs) == number
    assert len(queries) == 18


def test_a_weekday_without_pattern(day: date) -> None:
    """The Wednesday pattern is looked up, not another one."""
    crew = factories.make_crew(patterns=False)
    ShiftPattern.objects.create(crew=crew, weekday=3)
    found = day_problem(yard=crew.yard, work_date=day, now=factories.MOMENT)
    assert found.problem.crews == ()
    assert Crew.objects.count() == 1


def test_a_crew_costs_what_its_members_earn(day: date, morning: datetime) -> None:
    """$20 and $28 an hour with 25 % burden are a dollar a minute, whatever the crew's own row says."""
    crew = factories.make_crew(wage_cents_per_hour=1_00)
    for name, cents in (("Ann", 20_00), ("Bo", 28_00)):
        worker_terms_set(
            name=name, effective_from=date(2026, 1, 1), crew_code=crew.code, cents_per_hour=cents, burden_percent=25
        )
    (found,) = day_problem(yard=crew.yard, work_date=day, now=morning).problem.crews
    assert found.cents_per_minute == 100
