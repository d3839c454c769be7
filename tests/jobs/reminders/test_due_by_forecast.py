"""A wall that is expected to pass the limit makes its property due: when, why, in which words, and only once."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.chalking.services import chalk_setting_update
from jobs.reminders.domain.due import CHALK, ForecastFact, IntervalFact, ReadingFact, due, due_in_turn
from jobs.reminders.selectors import DueItem, due_list
from jobs.reminders.services import reminder_preview, reminders_queue
from tests import factories as make

pytestmark = pytest.mark.django_db
TODAY = date(2026, 6, 1)
NOW = datetime(2026, 6, 1, 16, tzinfo=UTC)
REASON = "South wall expected to pass 2 about June 2026 (June 2025 to July 2028); read 1.5 on 1 May 2025"


@pytest.fixture(autouse=True)
def company() -> Any:
    return make.set_company(reminder_lead_days=30, reminder_gap_days=60)


@pytest.fixture(autouse=True)
def removal() -> Any:
    return make.make_service(name="Chalk removal", name_es="Quitar la tiza", removes_chalk=True, interval_months=48)


def only(items: list[DueItem]) -> DueItem:
    (item,) = items
    return item


def test_the_day_half_way_makes_it_due_and_the_line_says_why() -> None:
    """The interval is in the reason, and so is what was read."""
    make.make_forecast()
    item = only(due_list(today=TODAY))
    assert (item.kind, item.due_on, item.reason) == ("chalk", date(2026, 6, 15), REASON)
    assert due_list(today=TODAY, lead_days=13) == []


def test_the_earliest_wall_dates_the_property() -> None:
    """The other walls are counted."""
    place = make.make_property()
    make.make_forecast(property=place)
    later = make.make_wall(property=place, name="West wall")
    make.make_forecast(wall=later, middle_on=date(2026, 6, 20))
    item = only(due_list(today=TODAY))
    assert item.due_on == date(2026, 6, 15)
    assert item.reason == f"{REASON}; 1 more wall"


def test_a_cautious_owner_is_told_early_and_not_right_after_a_reading() -> None:
    """With the early day; a wall read last week waits for a season all the same."""
    chalk_setting_update(actor=None, due_when="early")
    make.make_forecast()
    assert only(due_list(today=TODAY)).due_on == date(2025, 7, 30)
    fresh = make.make_forecast(read_on=TODAY - timedelta(days=7))
    items = due_list(today=TODAY, lead_days=120, property_ids=[fresh.wall.property_id])
    assert only(items).due_on == TODAY + timedelta(days=83)


@pytest.mark.parametrize(("interval_on", "kind"), [(date(2026, 6, 14), "interval"), (date(2026, 6, 16), "chalk")])
def test_forecast_or_interval_of_the_removal_whichever_is_first(removal: Any, interval_on: date, kind: str) -> None:
    """One line, not two."""
    forecast = make.make_forecast()
    make.make_interval(property=forecast.wall.property, service=removal, next_due_on=interval_on)
    item = only(due_list(today=TODAY))
    assert item.kind == (CHALK if kind == "chalk" else removal.code)
    assert item.due_on == min(interval_on, date(2026, 6, 15))


def test_the_wash_has_its_own_line() -> None:
    """A wash takes no chalk off: both are due."""
    forecast = make.make_forecast()
    make.make_interval(property=forecast.wall.property, next_due_on=date(2026, 6, 10))
    assert [item.due_on for item in due_list(today=TODAY)] == [date(2026, 6, 10), date(2026, 6, 15)]


def test_chalk_that_was_read_goes_before_a_forecast() -> None:
    """Another wall read 3 a month ago: its season is waited for, and the forecast says nothing."""
    forecast = make.make_forecast()
    make.make_reading(wall=make.make_wall(property=forecast.wall.property), reading=3, read_on=date(2026, 5, 1))
    assert due_list(today=TODAY) == []
    assert only(due_list(today=TODAY, lead_days=90)).due_on == date(2026, 7, 30)


def test_refused_forecasts_and_those_of_another_limit_make_nothing_due() -> None:
    """Too little data is no date; a limit that was just changed waits for its forecasts."""
    make.make_forecast(refusal="too_wide")
    make.make_forecast(limit_half_steps=6)
    assert due_list(today=TODAY) == []


@pytest.mark.parametrize(("walls", "is_due"), [("this", False), ("other", True), ("all", False)])
def test_a_removal_since_settles_the_walls_it_was_done_on(removal: Any, walls: str, is_due: bool) -> None:
    """Before the next forecast is made, too; other walls of the house stay due."""
    forecast = make.make_forecast()
    place = forecast.wall.property
    visit = make.make_visit_of(removal, place, date(2026, 5, 20))
    named = {"this": [forecast.wall], "other": [make.make_wall(property=place)], "all": []}[walls]
    visit.job.lines.get().walls.set(named)
    assert bool(due_list(today=TODAY)) is is_due


def test_agreed_removal_settles_the_forecast(removal: Any) -> None:
    """It is coming anyway."""
    forecast = make.make_forecast()
    make.make_job(property=forecast.wall.property, state="agreed", lines=[{"service": removal}])
    assert due_list(today=TODAY) == []


def test_nobody_is_written_to_again_because_a_forecast_moved() -> None:
    """The day moves each night: reminded is reminded, until the wall is read anew."""
    forecast = make.make_forecast()
    assert reminders_queue(keys=[only(due_list(today=TODAY)).key], actor=None, now=NOW).reminders == 1
    forecast.middle_on = date(2026, 6, 19)
    forecast.save()
    assert only(due_list(today=TODAY)).state == "reminded"
    make.make_reading(wall=forecast.wall, reading=1.5, read_on=date(2026, 7, 1))
    forecast.last_read_on = date(2026, 7, 1)
    forecast.save()
    assert only(due_list(today=date(2026, 10, 1))).state == "ready"


@pytest.mark.parametrize(
    ("language", "parts"),
    [
        ("en", ["pass 2 about June 2026", "between June 2025 and July 2028", "read 1.5", "the south wall"]),
        ("es", ["pase de 2 hacia junio de 2026", "entre junio de 2025 y julio de 2028", "marcó 1.5", "la pared sur"]),
    ],
)
def test_the_letter_says_what_is_expected_and_how_sure_it_is(language: str, parts: list[str]) -> None:
    """In the customer's language, with the interval in months."""
    customer = make.make_customer(language=language)
    make.make_forecast(property=make.make_property(customer=customer))
    (draft,) = reminder_preview(keys=[only(due_list(today=TODAY)).key], now=NOW).drafts
    assert not draft.refusals
    for part in parts:
        assert part in draft.body


@pytest.mark.parametrize("language", ["en", "es"])
def test_a_text_fits_two_parts(language: str) -> None:
    """Of the 7-bit alphabet."""
    customer = make.make_customer(language=language, email="")
    make.make_consent(customer=customer, channel="text", given=True)
    make.make_forecast(property=make.make_property(customer=customer))
    (draft,) = reminder_preview(keys=[only(due_list(today=TODAY)).key], now=NOW).drafts
    assert draft.sms is not None
    assert draft.sms.parts == 1
    assert "2026" in draft.body


DAYS = st.dates(date(2025, 1, 1), date(2028, 1, 1))
PLACES = st.integers(1, 3)
INTERVALS = st.builds(
    IntervalFact, PLACES, st.sampled_from(["removal"]), st.just(True), st.just(48), st.none(), DAYS
)  # fmt: skip
READINGS = st.builds(
    ReadingFact, PLACES, st.integers(1, 5), st.just("w"), st.just("face"), st.none(),
    st.sampled_from([Decimal(1), Decimal(2), Decimal(3)]), DAYS,
)  # fmt: skip
FORECASTS = st.builds(
    ForecastFact, PLACES, st.integers(1, 5), st.just("w"), st.just("face"), st.none(), st.just(Decimal(1)), DAYS, DAYS,
    st.just(TODAY), st.just(TODAY),
)  # fmt: skip


@given(
    st.lists(INTERVALS, max_size=3, unique_by=lambda fact: fact.property_id), st.lists(READINGS, max_size=4),
    st.lists(FORECASTS, max_size=4), st.integers(0, 700),
)  # fmt: skip
def test_a_property_has_one_line_about_removal_and_its_earliest(
    intervals: list[IntervalFact], readings: list[ReadingFact], forecasts: list[ForecastFact], lead_days: int
) -> None:
    """Whatever is known: one line each, none beyond the lead time, and nothing earlier was passed over."""
    found = due(intervals, readings, forecasts, today=TODAY, lead_days=lead_days, limit=Decimal(2))
    latest = TODAY + timedelta(days=lead_days)
    assert len({item.property_id for item in found}) == len(found)
    assert all(item.due_on <= latest for item in found)
    assert found == sorted(found, key=lambda item: (item.due_on, item.property_id, item.kind))
    read = {fact.property_id for fact in readings if fact.reading >= 2}
    for place in {1, 2, 3} - read:
        days = [fact.next_due_on for fact in intervals if fact.property_id == place]
        days += [fact.due_on for fact in forecasts if fact.property_id == place]
        due_by_then = [day for day in days if day <= latest]
        mine = [item.due_on for item in found if item.property_id == place]
        assert mine == ([min(due_by_then)] if due_by_then else [])


@given(
    st.lists(INTERVALS, max_size=3, unique_by=lambda fact: fact.property_id), st.lists(READINGS, max_size=4),
    st.lists(FORECASTS, max_size=4), st.integers(0, 700),
)  # fmt: skip
def test_one_property_after_the_other_is_the_same(
    intervals: list[IntervalFact], readings: list[ReadingFact], forecasts: list[ForecastFact], lead_days: int
) -> None:
    """What is found with all facts at once is found with those of one property at a time."""
    limits: dict[str, Any] = {"today": TODAY, "lead_days": lead_days, "limit": Decimal(2)}
    facts = [sorted(some, key=lambda fact: fact.property_id) for some in (intervals, readings, forecasts)]
    in_turn = list(due_in_turn(*facts, **limits))
    assert [item.property_id for item in in_turn] == sorted(item.property_id for item in in_turn)
    assert sorted(in_turn, key=lambda item: (item.due_on, item.property_id, item.kind)) == due(*facts, **limits)
