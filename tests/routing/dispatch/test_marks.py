"""The crew's marks: in order, once each, and the last one books the job."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.work.domain.booking import LineBooked
from jobs.work.errors import StepRefused
from jobs.work.models import Visit
from pricing.earnings.models import EarningEntry
from routing.dispatch.domain.marks import mark_missing, mark_next, minutes_on_site
from routing.dispatch.errors import MarkRefused
from routing.dispatch.models import SentStop, StopMark
from routing.dispatch.services import plan_send_out, stop_mark
from shared.errors import Refused
from tests import factories

# 2 June 2026, 8:00 in New York.
EIGHT = datetime(2026, 6, 2, 12, 0, tzinfo=UTC)
EVENING = EIGHT + timedelta(hours=10)


@pytest.fixture
def stop(db: None) -> SentStop:
    truck = {"cents_per_km": 45}
    crew = factories.make_crew(wage_cents_per_hour=4_800)
    from routing.plans.models import Truck

    crew.truck = Truck.objects.create(code="T1", yard=crew.yard, **truck)
    crew.save()
    job = factories.make_job(lines=[{}, {"estimated_minutes": 60, "price_cents": 20_000}])
    factories.settle_notice(job)
    plan_send_out(plan=factories.make_planned_day((crew, [job])), expected_version=1)
    return SentStop.objects.get()


def mark(stop: SentStop, kind: str, minutes: int = 0, **over: Any) -> StopMark:
    """A mark so many minutes after eight, made in the evening."""
    fields = {"at": EIGHT + timedelta(minutes=minutes), "now": EVENING, **over}
    fresh = SentStop.objects.get(pk=stop.pk)
    return stop_mark(stop=fresh, kind=kind, **fields)


def state_of(stop: SentStop) -> str:
    return str(SentStop.objects.get(pk=stop.pk).job.state)


def test_a_day_at_a_stop(stop: SentStop, crew_lead: Any) -> None:
    """Arrived, started, finished: on site, then done, with the minutes of the clock and the share of the drive."""
    mark(stop, "arrived", 0, actor=crew_lead)
    assert state_of(stop) == "on_site"
    mark(stop, "started", 15, actor=crew_lead)
    mark(stop, "finished", 150, actor=crew_lead, note="hose bib leaks")
    assert state_of(stop) == "done"
    visit = Visit.objects.get()
    assert (visit.on_site_minutes, visit.drive_minutes, visit.drive_metres) == (150, 20, 16_000)
    assert (visit.note, visit.recorded_by, visit.crew_code) == ("hose bib leaks", crew_lead, stop.route.crew.code)
    assert (visit.arrived_at, visit.finished_at) == (EIGHT, EIGHT + timedelta(minutes=150))
    entries = EarningEntry.objects.all()
    # $48 an hour with 12 % burden for 170 minutes; 16 km at 45 cents.
    assert sum(entry.wage_cents for entry in entries) == round(4_800 * 170 / 60 * 1.12)
    assert sum(entry.vehicle_cents for entry in entries) == 720
    assert [entry.on_site_minutes for entry in entries.order_by("id")] == [100, 50]


def test_the_crews_minutes_count_more_than_the_clock(stop: SentStop) -> None:
    """All three buttons pressed in the evening: what the crew says for each line is booked."""
    wash, second = stop.job.lines.all()
    for kind in ("arrived", "started"):
        mark(stop, kind, 500)
    mark(stop, "finished", 500, lines=[LineBooked(wash.pk, 95), LineBooked(second.pk, 40, 700)])
    assert Visit.objects.get().on_site_minutes == 135
    assert list(EarningEntry.objects.order_by("id").values_list("on_site_minutes", "materials_cents")) == [
        (95, 2_000),
        (40, 700),
    ]


def test_minutes_for_some_lines_split_the_clock(stop: SentStop) -> None:
    """One line booked: the other has the rest of the time between arriving and finishing."""
    wash, _second = stop.job.lines.all()
    mark(stop, "arrived")
    mark(stop, "started")
    mark(stop, "finished", 120, lines=[LineBooked(wash.pk, 90)])
    assert list(EarningEntry.objects.order_by("id").values_list("on_site_minutes", flat=True)) == [90, 30]


def test_the_same_mark_twice_is_the_same(stop: SentStop) -> None:
    """A second tap, or a retry after bad reception, changes nothing, whatever it says."""
    first = mark(stop, "arrived")
    assert mark(stop, "arrived", 30) == first
    mark(stop, "started", 5)
    finished = mark(stop, "finished", 60)
    assert mark(stop, "finished", 90, note="again") == finished
    assert (StopMark.objects.count(), Visit.objects.count(), EarningEntry.objects.count()) == (3, 1, 2)


@pytest.mark.parametrize(
    ("made", "kind", "words"),
    [
        ([], "started", "First mark this stop as arrived, then as started"),
        ([], "finished", "First mark this stop as arrived"),
        (["arrived"], "finished", "First mark this stop as started, then as finished"),
    ],
)
def test_marks_come_in_order(stop: SentStop, made: list[str], kind: str, words: str) -> None:
    """A mark that is early is refused in words that say what is missing."""
    for earlier in made:
        mark(stop, earlier)
    with pytest.raises(MarkRefused, match=words):
        mark(stop, kind)
    assert StopMark.objects.count() == len(made)


def test_times_come_in_order(stop: SentStop) -> None:
    """Nothing starts before the arrival."""
    mark(stop, "arrived", 30)
    with pytest.raises(MarkRefused, match="before the mark"):
        mark(stop, "started", 29)


@pytest.mark.parametrize(
    ("at", "now", "words"),
    [
        (EVENING + timedelta(minutes=3), EVENING, "not come yet"),
        (EIGHT - timedelta(days=1), EVENING, "another day"),
        # 11:30 pm in New York is the next day in UTC and still the day of the plan.
        (datetime(2026, 6, 3, 4, 30, tzinfo=UTC), datetime(2026, 6, 3, 5, tzinfo=UTC), "another day"),
    ],
)
def test_marks_are_of_the_day(stop: SentStop, at: datetime, now: datetime, words: str) -> None:
    """Not of another day by the yard's clock, and not of a time to come."""
    with pytest.raises(MarkRefused, match=words):
        stop_mark(stop=stop, kind="arrived", at=at, now=now)


def test_the_day_is_the_yards(stop: SentStop) -> None:
    """Half past eleven in the evening is the same day, although it is the next one in UTC."""
    late = datetime(2026, 6, 3, 3, 30, tzinfo=UTC)
    assert stop_mark(stop=stop, kind="arrived", at=late, now=late).work_date == stop.route.sent.plan.work_date


def test_a_phone_a_minute_ahead_is_believed(stop: SentStop) -> None:
    """Clocks differ by a little."""
    assert mark(stop, "arrived", at=EVENING + timedelta(minutes=1)).kind == "arrived"


def test_an_unknown_mark_is_refused(stop: SentStop) -> None:
    """There are three marks."""
    with pytest.raises(Refused, match="arrived, started or finished"):
        mark(stop, "left")


def test_a_job_that_the_office_closed_takes_no_mark(stop: SentStop) -> None:
    """The refusal leaves no mark behind."""
    stop.job.state = "called_off"
    stop.job.save()
    with pytest.raises(StepRefused, match="called off"):
        mark(stop, "arrived")
    assert not StopMark.objects.exists()


@given(st.lists(st.sampled_from(["arrived", "started", "finished"]), max_size=12))
def test_the_order_holds_whatever_is_pressed(kinds: list[str]) -> None:
    """Taking every mark that is allowed and new, the marks made are always the first ones of the order."""
    made: dict[str, datetime] = {}
    for kind in kinds:
        if kind not in made and mark_missing(kind, made) is None:
            assert mark_next(made) == kind
            made[kind] = EIGHT
    assert list(made) == ["arrived", "started", "finished"][: len(made)]


@given(st.integers(0, 86_400))
def test_minutes_are_rounded_and_never_nothing(seconds: int) -> None:
    """Half a minute and more counts as one."""
    minutes = minutes_on_site(EIGHT, EIGHT + timedelta(seconds=seconds))
    assert minutes == max(1, (seconds + 30) // 60)
