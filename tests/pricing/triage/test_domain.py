"""Leads against the hours that they take; close rates against the textbook."""

from dataclasses import replace
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pricing.triage.domain.closing import Answer, band_of, close_rates
from pricing.triage.domain.leads import Advice, CrewDay, Day, Lead, Terms, judge, judge_all

TERMS = Terms(target_cents=17_500, reserve_cents=11_000)
YARD, NEAR, FAR = (0.0, 0.0), (0.0, 1.0), (0.0, 9.0)
CREW = CrewDay("Heron", frozenset({"ladder"}), 2, 480, (YARD, YARD))
MONDAY, TUESDAY, WEDNESDAY = (date(2026, 6, day) for day in (1, 2, 3))
# Two hours on site and 10 minutes each way: 140 crew-minutes.
LEAD = Lead(7, 40_000, 40_000, 2_000, 120, place=NEAR)


def drive(start: tuple[float, float], end: tuple[float, float]) -> int:
    """Ten minutes for each degree."""
    return round(10 * abs(start[1] - end[1]))


def day(work_date: date, worth: int | None = None, **over: object) -> Day:
    return Day(work_date, worth is not None, worth, (replace(CREW, **over),))  # type: ignore[arg-type]


def test_by_hand() -> None:
    """140 minutes at the reserve of 110 an hour are worth 256.67; with 20 of materials 276.67 is the least price."""
    row = judge(LEAD, [day(MONDAY)], TERMS, drive)
    assert (row.advice, row.best.crew_minutes, row.best.least_price_cents) == (Advice.TAKE, 140, 27_667)
    assert (row.hours_worth_cents, row.over_cents, row.earned_cents_per_crew_hour) == (25_667, 12_333, 17_143)


@pytest.mark.parametrize(
    ("price", "advice", "ask"),
    [
        (60_000, Advice.TAKE, 60_000),  # 140 minutes at 200 an hour and materials: 486.67 on the two full days
        (40_000, Advice.THIN_DAY, 40_000),  # pays at the reserve only
        (26_000, Advice.TAKE_AT, 28_000),  # 276.67 is within a quarter more
        (20_000, Advice.DECLINE, 20_000),  # it is not
    ],
)
def test_four_kinds_of_advice(price: int, advice: Advice, ask: int) -> None:
    days = [day(MONDAY), day(TUESDAY, 20_000), day(WEDNESDAY, 20_000)]
    row = judge(replace(LEAD, price_cents=price), days, TERMS, drive)
    assert (row.advice, row.ask_cents) == (advice, ask)


def test_a_full_day_takes_hours_from_other_work() -> None:
    """Without a plan's price the target counts where there is no room."""
    row = judge(LEAD, [day(MONDAY, free_minutes=100)], TERMS, drive)
    assert (row.best.has_room, row.best.worth_cents) == (False, 17_500)


def test_a_crew_that_passes_by_is_near() -> None:
    """Between two stops on the way there is no detour; alone and far it is three hours."""
    passing = replace(CREW, path=(YARD, FAR, YARD))
    row = judge(LEAD, [Day(MONDAY, True, 15_000, (passing,)), day(TUESDAY)], TERMS, drive)
    assert [fit.detour_minutes for fit in row.fits] == [0, 20]
    assert [fit.is_near for fit in row.fits] == [True, False]


def test_skills_windows_and_roads() -> None:
    """Nobody able, no day of its own, no way there: declined without a figure."""
    for lead, way in (
        (replace(LEAD, needs=frozenset({"roof"})), drive),
        (replace(LEAD, windows=((TUESDAY, TUESDAY),)), drive),
        (LEAD, lambda start, end: None),
    ):
        row = judge(lead, [day(MONDAY)], TERMS, way)
        assert (row.advice, row.best, row.over_cents) == (Advice.DECLINE, None, 0)


def test_three_workers_take_less_time() -> None:
    """The same crew-hours of two: 80 minutes of three on site, 20 minutes of driving count half as much again."""
    row = judge(LEAD, [day(MONDAY, workers=3)], TERMS, drive)
    assert row.best.crew_minutes == 120 + 30


leads = st.builds(
    Lead,
    st.integers(1, 99),
    st.integers(0, 200_000),
    st.none() | st.integers(1, 200_000),
    st.integers(0, 20_000),
    st.integers(1, 600),
    place=st.sampled_from([None, NEAR, FAR]),
)
days = st.lists(
    st.builds(
        day,
        st.dates(date(2026, 6, 1), date(2026, 6, 14)),
        st.none() | st.integers(0, 60_000),
        free_minutes=st.integers(0, 600),
        workers=st.integers(1, 4),
    ),
    max_size=5,
)


@given(st.lists(leads, max_size=6), days)
def test_advice_keeps_its_word(queue: list[Lead], coming: list[Day]) -> None:
    """Taken means that it pays at the named price; more money never makes the advice worse."""
    order = list(Advice)
    rows = judge_all(queue, coming, TERMS, drive)
    assert sorted(order.index(row.advice) for row in rows) == [order.index(row.advice) for row in rows]
    for row in rows:
        if row.advice != Advice.DECLINE:
            assert row.best is not None
            assert row.ask_cents is not None
            assert row.ask_cents >= row.best.least_price_cents
        richer = judge(replace(row.lead, price_cents=row.lead.price_cents + 10_000), coming, TERMS, drive)
        assert order.index(richer.advice) <= order.index(row.advice)


def test_close_rate_by_hand() -> None:
    """At the card 3 of 4 said yes, far above 0 of 2: all together 3 of 6, so each band begins at 4/8 as if 4 had been
    heard. At the card (2 + 3) / (4 + 4) = 0.625, far above 2 / 6."""
    answers = [Answer(100, 100, said) for said in (True, True, True, False)] + [Answer(130, 100, False)] * 2
    below, at, above, far = close_rates(answers)
    assert (at.share, far.share, above.share) == (0.625, pytest.approx(1 / 3), 0.5)
    assert (at.asked, at.yes, below.asked) == (4, 3, 0)
    assert at.low < 0.625 < at.high
    assert band_of(130, 100, [below, at, above, far]) == far
    assert band_of(130, 0, [below, at, above, far]) is None


@given(st.lists(st.builds(Answer, st.integers(1, 999), st.integers(0, 999), st.booleans()), max_size=40))
def test_bands_cover_every_price_once(answers: list[Answer]) -> None:
    bands = close_rates(answers)
    assert sum(band.asked for band in bands) == sum(answer.card_price_cents > 0 for answer in answers)
    assert all(0 < band.low < band.high < 1 for band in bands)


def test_agreed_work_fills_an_unplanned_day() -> None:
    """480 free minutes of which 400 are asked for leave no room for 140: a busy hour's worth counts, from the newest
    plan where there is one."""
    busy = replace(day(MONDAY), waiting_crew_minutes=400)
    assert judge(LEAD, [busy], TERMS, drive).best.worth_cents == 17_500
    assert judge(LEAD, [busy], replace(TERMS, newest_worth_cents=19_000), drive).best.worth_cents == 19_000
    assert judge(LEAD, [busy], replace(TERMS, newest_worth_cents=100), drive).best.worth_cents == 11_000
    assert judge(LEAD, [replace(busy, waiting_crew_minutes=340)], TERMS, drive).best.worth_cents == 11_000
