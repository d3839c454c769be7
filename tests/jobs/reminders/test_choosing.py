"""Who should hear now: never more than the crews can wash with nine chances in ten, by urgency, honest at the start."""

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.reminders.domain.choosing import (
    LATE_SHARE,
    MOST_OVERFLOW,
    Asked,
    Person,
    ResponseRate,
    Wait,
    chance_left,
    propose,
    urgency,
)

GROUPS = (("house_wash", "email"), ("chalk", "text"))
PEOPLE = st.lists(
    st.builds(
        Person,
        st.integers(0, 999).map(str),
        st.sampled_from(GROUPS),
        st.integers(30, 400),
        st.integers(-30, 400),
        st.none() | st.integers(0, 20_000),
        st.none() | st.integers(0, 900),
    ),
    max_size=25,
    unique_by=lambda person: person.key,
)
RATE = st.integers(0, 60).flatmap(lambda asked: st.builds(ResponseRate, st.integers(0, asked), st.just(asked)))
RATES = st.fixed_dictionaries({}, optional=dict.fromkeys(GROUPS, RATE))


@given(PEOPLE, RATES, st.integers(0, 5_000))
def test_everybody_is_chosen_or_waits(people: list[Person], rates: dict, room: int) -> None:
    """Once each, in order of urgency, with the stated risk kept."""
    proposal = propose(people, rates, room_minutes=room)
    assert sorted((*proposal.chosen, *proposal.waiting)) == sorted(person.key for person in people)
    assert proposal.overflow <= MOST_OVERFLOW
    order = [person.key for person in sorted(people, key=urgency)]
    assert list(proposal.chosen) == [key for key in order if key in proposal.chosen]
    assert len(proposal.reasons) == len(proposal.waiting)


@given(PEOPLE, RATES, st.integers(1, 5_000))
def test_the_reason_to_wait_is_true(people: list[Person], rates: dict, room: int) -> None:
    """Too long is who would not fit alone; passed is who could have, were it not for the shorter ones behind."""
    proposal = propose(people, rates, room_minutes=room)
    order = {person.key: rank for rank, person in enumerate(sorted(people, key=urgency))}
    by_key = {person.key: person for person in people}
    last = max((order[key] for key in proposal.chosen), default=-1)
    for key, reason in zip(proposal.waiting, proposal.reasons, strict=True):
        fits_alone = propose([by_key[key]], rates, room_minutes=room).chosen == (key,)
        assert (reason == Wait.TOO_LONG) == (not fits_alone)
        if fits_alone:
            assert reason == (Wait.SHORTER_FITTED if order[key] < last else Wait.OTHERS_FIRST)


@given(PEOPLE, RATES, st.integers(0, 5_000))
def test_the_spread_holds_what_is_expected(people: list[Person], rates: dict, room: int) -> None:
    """A tenth on either side: where nine tenths fit, the upper end is within the room."""
    proposal = propose(people, rates, room_minutes=room)
    assert 0 <= proposal.low_minutes <= proposal.high_minutes
    if proposal.chosen:
        assert proposal.high_minutes <= room + 1


@given(PEOPLE, RATES, st.integers(0, 3_000), st.integers(0, 2_000))
def test_more_room_never_means_a_smaller_expectation_of_nothing(
    people: list, rates: dict, room: int, more: int
) -> None:
    """Three times the work of all of them, whatever the rates."""
    everything = sum(person.minutes for person in people)
    proposal = propose(people, rates, room_minutes=everything * 3 + more)
    assert not proposal.waiting
    assert propose(people, rates, room_minutes=room).expected_minutes <= everything


def test_nobody_hears_where_there_is_no_room() -> None:
    people = [Person("a", GROUPS[0], 120)]
    assert propose(people, {}, room_minutes=0).chosen == ()


def test_the_beginning_is_wide_and_learning_narrows_it() -> None:
    """At the same expected rate, a well-known one lets more people hear for the same room."""
    people = [Person(str(number), GROUPS[0], 120) for number in range(400)]
    unknown = propose(people, {}, room_minutes=2_400)
    known = propose(people, {GROUPS[0]: ResponseRate(100, 700)}, room_minutes=2_400)
    assert len(known.chosen) > len(unknown.chosen) > 0


def test_those_who_may_still_answer_take_their_part_of_the_room() -> None:
    """Asked today they count in full, after a month hardly; with enough of them nobody hears."""
    people = [Person(str(number), GROUPS[0], 120) for number in range(100)]
    rates = {GROUPS[0]: ResponseRate(100, 700)}

    def chosen(number: int, days: int) -> int:
        asked = [Asked(GROUPS[0], 120, days)] * number
        return len(propose(people, rates, room_minutes=1_200, asked=asked).chosen)

    assert chosen(0, 0) > chosen(20, 10) > chosen(20, 0) > chosen(200, 0) == 0
    assert chosen(0, 0) - chosen(20, 30) <= 1
    waiting = propose([], rates, room_minutes=1_200, asked=[Asked(GROUPS[0], 120, 0)] * 10)
    assert waiting.pending_minutes == pytest.approx(10 * 120 / 7, rel=0.02)


@given(st.floats(0.001, 0.999), st.integers(0, 60))
def test_silence_lowers_the_chance(chance: float, days: int) -> None:
    """Bayes' rule against counting: of all who would say yes, those that take longer, among all who are silent."""
    slower = 2 ** (-days / 5)
    assert chance_left(chance, days) == pytest.approx(chance * slower / (chance * slower + 1 - chance))
    assert chance_left(chance, days + 1) < chance_left(chance, days) <= chance + 1e-12


def test_a_part_of_the_week_after_is_room() -> None:
    """As if so many minutes more were free."""
    people = [Person(str(number), GROUPS[0], 120) for number in range(100)]
    later = propose(people, {}, room_minutes=1_200, later_room_minutes=1_000)
    assert later == propose(people, {}, room_minutes=1_200 + round(1_000 * LATE_SHARE))


def test_the_overdue_the_near_and_the_patient_come_first() -> None:
    plain = Person("plain", GROUPS[0], 120, overdue_days=0, detour_minutes=40, last_contact_days=100)
    overdue = Person("overdue", GROUPS[0], 120, overdue_days=90, detour_minutes=40, last_contact_days=100)
    near = Person("near", GROUPS[0], 120, overdue_days=0, detour_minutes=1, last_contact_days=100)
    patient = Person("patient", GROUPS[0], 120, overdue_days=0, detour_minutes=40, last_contact_days=None)
    ranked = [person.key for person in sorted([plain, patient, near, overdue], key=urgency)]
    assert ranked == ["overdue", "near", "patient", "plain"]


def test_a_share_that_cannot_be_is_refused() -> None:
    for yes, asked in ((1, 0), (-1, 3), (4, 3)):
        with pytest.raises(ValueError, match="no share"):
            ResponseRate(yes, asked)


def test_simulated_springs_seldom_overbook_and_fill_the_room() -> None:
    """300 springs whose true rate is drawn from what was believed: too much comes in at most one of ten, give or take
    the sampling error of three standard deviations; and with a rate known from 700 answers the room is well used."""
    draw = random.Random(7)
    people = [Person(str(number), GROUPS[0], 60 + 30 * (number % 5)) for number in range(500)]
    minutes = {person.key: person.minutes for person in people}
    rate, room = ResponseRate(100, 700), 6_000
    chosen = propose(people, {GROUPS[0]: rate}, room_minutes=room).chosen
    over, used = 0, 0.0
    for _ in range(300):
        truth = draw.betavariate(rate.yes + 1, rate.asked - rate.yes + 6)
        came = sum(minutes[key] for key in chosen if draw.random() < truth)
        over += came > room
        used += min(came, room) / room / 300
    assert over / 300 <= MOST_OVERFLOW + 3 * (0.1 * 0.9 / 300) ** 0.5
    assert used >= 0.7
