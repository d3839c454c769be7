"""Entries that come up late: kept in any case, looked at both ways, and the verdict is the same in whatever order."""

import uuid
from collections.abc import Iterable
from datetime import UTC, datetime, timedelta
from itertools import permutations
from typing import Any

import pytest
from django.db import DatabaseError, transaction
from hypothesis import given
from hypothesis import strategies as st

from jobs.work.domain.reactions import (
    NEVER_TOGETHER,
    NOWHERE_NAMED,
    RINSE,
    STOPS_FOR,
    Chemistry,
    Poured,
    meetings_of,
    reacts_with,
    rinsed_one_by_one,
    unrinsed,
    verdict,
    wall_record,
    walls_named,
)
from jobs.work.errors import MustNotMeet, ReasonMissing
from jobs.work.met import MetNote, notes_of_house, pour_warnings
from jobs.work.models import Job
from jobs.work.models import Poured as PouredRow
from jobs.work.selectors import poured_record
from jobs.work.services import product_pour, rinse_confirm, wall_rinse
from shared.errors import Refused
from shared.events.models import Event
from tests import factories

NOON = datetime(2026, 6, 1, 16, 0, tzinfo=UTC)  # 12:00 in New York
ZONE = "America/New_York"
HOUR = timedelta(hours=1)
WALLS = (1, 2)

kinds = st.sampled_from([RINSE, RINSE, "hypochlorite", "acid", "ammonia", "surfactant"])
# Few moments, so that several things happen in the same one, and some long ago.
moments = st.sampled_from([0, 0, 1, 2, 3, 30, 61, 62]).map(lambda days: NOON + timedelta(days=days)) | st.integers(
    0, 6
).map(lambda minutes: NOON + timedelta(minutes=minutes))
entries = st.lists(st.builds(Poured, kinds, st.sampled_from([None, *WALLS]), moments), max_size=8)


def pairs_by_hand(record: Iterable[Poured]) -> set[tuple[int | None, Poured, Poured]]:
    """Every two that must not meet, on every wall, with no rinse after the first and up to the second, close enough."""
    lines = list(record)
    found = set()
    for wall in [None, *WALLS]:
        here = [line for line in lines if line.wall_id in (None, wall)]
        for a in here:
            for b in here:
                apart = any(r.what == RINSE and a.at < r.at <= b.at for r in here)
                near = a.at <= b.at <= a.at + STOPS_FOR
                if frozenset({a.what, b.what}) in NEVER_TOGETHER and near and not apart:
                    found.add((wall, a, b))
    return found


def walls_that_met(record: Iterable[Poured]) -> set[int | None]:
    lines = list(record)
    return {wall for wall in [None, *WALLS] if wall_record(lines, wall).meetings}


@given(entries)
def test_a_wall_is_warned_of_exactly_where_two_met(record: list[Poured]) -> None:
    assert walls_that_met(record) == {wall for wall, _first, _then in pairs_by_hand(record)}


@given(entries, st.randoms())
def test_the_order_of_arrival_does_not_matter(record: list[Poured], random: Any) -> None:
    arrived = list(record)
    random.shuffle(arrived)
    assert meetings_of(arrived) == meetings_of(record)
    for wall in (None, *WALLS):
        assert wall_record(arrived, wall) == wall_record(record, wall)


@given(
    st.lists(st.tuples(st.builds(Poured, kinds, st.sampled_from([None, *WALLS]), moments), st.booleans())), st.data()
)
def test_no_order_lets_two_meet_without_a_stop_or_a_warning(told: list[tuple[Poured, bool]], data: Any) -> None:
    """Each entry is either asked for when it happens, and not poured where it is stopped, or comes up late, and kept.
    What was let through meets nothing that was known then; in the end every two that met are on record as that."""
    known: list[Poured] = []
    for entry in sorted((entry for entry, is_late in told if not is_late), key=lambda entry: entry.at):
        if entry.what != RINSE and verdict(known, entry).is_stopped:
            continue
        assert walls_that_met([*known, entry]) == walls_that_met(known)
        known.append(entry)
    known += data.draw(st.permutations([entry for entry, is_late in told if is_late]))
    assert walls_that_met(known) == {wall for wall, _first, _then in pairs_by_hand(known)}


@given(entries, st.builds(Poured, st.sampled_from([*Chemistry]), st.sampled_from([None, *WALLS]), moments))
def test_the_verdict_looks_both_ways(record: list[Poured], new: Poured) -> None:
    """What a pour meets is what lies there by the last pour of each kind, or comes after it before any rinse."""
    new = Poured(new.what, new.wall_id, new.at, row_id=99)
    found = verdict(record, new)
    walls = walls_named([*record, new]) if new.wall_id is None else [new.wall_id]
    by_hand = {(a, b) for wall, a, b in pairs_by_hand([*record, new]) if wall in walls and new in (a, b)}
    assert found.meets <= {line.what for pair in by_hand for line in pair} - {new.what}
    for first, _then in by_hand:
        if first != new:
            assert found.meets, "what lies there when it is poured is always seen"


def test_what_met_stops_everything_until_a_rinse() -> None:
    """Also a soap; on the other wall nothing is stopped; after two months it is a caution."""
    met = [Poured("hypochlorite", 1, NOON), Poured("acid", 1, NOON + HOUR)]
    soap = Poured("surfactant", 1, NOON + 2 * HOUR)
    assert verdict(met, soap).met == {"hypochlorite", "acid"}
    assert not verdict(met, Poured("surfactant", 2, soap.at)).is_stopped
    assert not verdict([*met, Poured(RINSE, None, soap.at - HOUR / 2)], soap).is_stopped
    assert not verdict(met, Poured("surfactant", 1, NOON + STOPS_FOR + 2 * HOUR)).is_stopped


def test_a_stop_becomes_a_caution() -> None:
    bleach = [Poured("hypochlorite", 1, NOON)]
    assert verdict(bleach, Poured("acid", 1, NOON + STOPS_FOR)).is_stopped
    after = verdict(bleach, Poured("acid", 1, NOON + STOPS_FOR + HOUR))
    assert (after.is_stopped, after.cautions) == (False, {"hypochlorite"})


def test_of_one_instant_a_rinse_takes_nothing_away() -> None:
    record = [Poured("hypochlorite", 1, NOON), Poured(RINSE, 1, NOON)]
    assert verdict(record, Poured("acid", 1, NOON + HOUR)).meets == {"hypochlorite"}
    assert reacts_with("acid", ["hypochlorite"])


# --- in the database ---


@pytest.fixture
def job(db: None) -> Any:
    return factories.make_job(property=factories.make_property(street="14 Elm Street"))


@pytest.fixture
def wall(job: Any) -> Any:
    return factories.make_wall(property=job.property, name="south wall")


def pour(job: Any, chemistry: str, wall: Any, minute: int, came: int | None = None, **over: Any) -> PouredRow:
    """At a minute after noon; `came` is the minute at which it came up."""
    at, now = (NOON + timedelta(minutes=value) for value in (minute, minute if came is None else came))
    product = factories.make_product(chemistry=chemistry)
    return product_pour(key=uuid.uuid4(), job=job, product=product, wall=wall, at=at, now=now, **over)


def rinse(job: Any, wall: Any, minute: int, came: int | None = None) -> PouredRow:
    at, now = (NOON + timedelta(minutes=value) for value in (minute, minute if came is None else came))
    return wall_rinse(key=uuid.uuid4(), job=job, wall=wall, at=at, now=now)


def met(job: Any, minute: int = 240) -> tuple[MetNote, ...]:
    now = NOON + timedelta(minutes=minute)
    return notes_of_house(property_id=job.property_id, now=now, zone=ZONE).met


def test_a_late_entry_is_kept_and_warned_of(job: Any, wall: Any) -> None:
    """Acid at 12:20 was let through; hypochlorite of 12:00 comes up at 1:00."""
    pour(job, "acid", wall, 20)
    late = pour(job, "hypochlorite", wall, 0, came=60)
    assert PouredRow.objects.count() == 2
    (note,) = met(job)
    assert note.words == (
        "STOP, south wall: by the record hypochlorite (Mon, Jun 1, 2026, 12:00 pm) and acid (Mon, Jun 1, 2026, "
        "12:20 pm) met with no rinse between. Together they give poisonous gas. Stay away until the air is clear, "
        "follow the data sheets, then rinse well and write the rinse down. Nothing else is poured there before."
    )
    assert (note.is_stop, note.is_rinsed, note.at) == (True, False, NOON + timedelta(minutes=20))
    assert pour_warnings(row=late, now=NOON + HOUR, zone=ZONE) == (note.words,)
    event = Event.objects.get(kind="products.met")
    assert (event.subject_id, event.data["meets"]) == (job.pk, ["acid"])


def test_everything_is_stopped_until_a_rinse(job: Any, wall: Any) -> None:
    pour(job, "acid", wall, 20)
    pour(job, "hypochlorite", wall, 0, came=60)
    with pytest.raises(MustNotMeet, match=r"^STOP\. Acid, hypochlorite met here and no rinse is recorded since"):
        pour(job, "surfactant", wall, 61)
    rinse(job, wall, 62)
    assert pour(job, "surfactant", wall, 63).pk
    (note,) = met(job)
    assert (note.is_stop, note.is_rinsed) == (False, True)
    assert note.words.endswith("met with no rinse between; rinsed Mon, Jun 1, 2026, 1:02 pm.")


def test_a_late_rinse_clears_what_it_came_between(job: Any, wall: Any) -> None:
    pour(job, "acid", wall, 20)
    pour(job, "hypochlorite", wall, 0, came=60)
    rinse(job, wall, 10, came=70)
    assert met(job) == ()


def test_what_was_poured_already_is_kept(job: Any, wall: Any) -> None:
    """Said so a minute after it, or old enough; a question is refused."""
    pour(job, "hypochlorite", wall, 0)
    with pytest.raises(MustNotMeet):
        pour(job, "acid", wall, 5, came=15)
    assert pour(job, "acid", wall, 5, came=6, happened=True).pk
    assert pour(job, "ammonia", wall, 8, came=19).pk
    assert [note.is_stop for note in met(job)] == [True, True]


def test_in_every_order(job: Any) -> None:
    """Five entries, from several phones: the notes are the same in all hundred and twenty orders."""
    walls = [factories.make_wall(property=job.property, name=name) for name in ("north wall", "east wall")]
    told = [("hypochlorite", None, 0), ("acid", walls[0], 5), (RINSE, walls[0], 7), ("acid", None, 8), (RINSE, None, 9)]
    products = {what: factories.make_product(chemistry=what) for what in ("acid", "hypochlorite")}
    seen = set()
    for order in permutations(told):
        with transaction.atomic():
            for what, wall, minute in order:
                common = {"key": uuid.uuid4(), "job": job, "wall": wall}
                common |= {"at": NOON + timedelta(minutes=minute), "now": NOON + HOUR}
                if what == RINSE:
                    wall_rinse(**common)
                else:
                    product_pour(product=products[what], **common)
            seen.add(tuple((note.words, note.is_stop) for note in met(job)))
            transaction.set_rollback(True)
    (notes,) = seen
    assert len(notes) == 2


def test_the_same_late_entry_again(job: Any, wall: Any) -> None:
    """The queue sends it twice: one row, one line of history."""
    pour(job, "acid", wall, 20)
    product, key = factories.make_product(), uuid.uuid4()
    for _time in range(2):
        product_pour(key=key, job=job, product=product, wall=wall, at=NOON, now=NOON + HOUR)
    assert PouredRow.objects.count() == 2
    assert Event.objects.filter(kind="products.met").count() == 1


def test_after_two_months_a_caution(job: Any, wall: Any) -> None:
    """Not a stop any more, and the one who pours is told; with a rinse on record there is nothing to tell."""
    pour(job, "hypochlorite", wall, 0)
    minute = int(STOPS_FOR / timedelta(minutes=1))
    with pytest.raises(MustNotMeet):
        pour(job, "acid", wall, minute)
    row = pour(job, "acid", wall, minute + 1)
    (words,) = pour_warnings(row=row, now=row.at, zone=ZONE)
    assert words.startswith("Hypochlorite of Mon, Jun 1, 2026, 12:00 pm was never rinsed on record.")
    assert met(job) == ()


def test_a_meeting_that_nobody_rinsed_stays_on_record(job: Any, wall: Any) -> None:
    pour(job, "acid", wall, 20)
    pour(job, "hypochlorite", wall, 0, came=60)
    (note,) = notes_of_house(property_id=job.property_id, now=NOON + STOPS_FOR + HOUR, zone=ZONE).met
    assert (note.is_stop, note.is_rinsed) == (False, False)
    assert "none was recorded since" in note.words


def test_somebody_answers_for_a_rinse(job: Any, wall: Any, crew_lead: Any) -> None:
    """Weeks ago, by name and with a reason; it counts from its own time."""
    pour(job, "hypochlorite", wall, 0)
    later, month = NOON + timedelta(days=30), int(timedelta(days=30) / timedelta(minutes=1))
    with pytest.raises(MustNotMeet):
        pour(job, "acid", wall, month)
    row = rinse_confirm(
        key=uuid.uuid4(), job=job, wall=wall, at=NOON + HOUR, reason="  I rinsed it before we left ", now=later,
        actor=crew_lead,
    )  # fmt: skip
    assert (row.reason, row.recorded_by, row.chemistry) == ("I rinsed it before we left", crew_lead, "")
    event = Event.objects.get(kind="rinse.confirmed")
    assert (event.actor, event.reason) == (crew_lead, row.reason)
    assert pour(job, "acid", wall, month + 1).pk


@pytest.mark.parametrize(
    ("over", "error"),
    [
        ({"reason": " "}, ReasonMissing),
        ({"reason": "ok"}, ReasonMissing),
        ({"actor": None}, Refused),
        ({"at": NOON + timedelta(days=1)}, Refused),
    ],
)
def test_no_rinse_is_confirmed_with(job: Any, wall: Any, office: Any, over: Any, error: Any) -> None:
    fields = {"key": uuid.uuid4(), "job": job, "wall": wall, "at": NOON, "reason": "seen wet", "actor": office}
    with pytest.raises(error):
        rinse_confirm(**(fields | {"now": NOON + HOUR} | over))
    assert not PouredRow.objects.exists()


def test_a_pour_has_no_reason(job: Any, office: Any) -> None:
    """The database refuses what no service writes."""
    product = factories.make_product()
    fields = {"key": uuid.uuid4(), "job": job, "at": NOON, "recorded_at": NOON, "reason": "seen"}
    with pytest.raises(DatabaseError), transaction.atomic():
        PouredRow.objects.create(product=product, chemistry="acid", recorded_by=office, **fields)
    with pytest.raises(DatabaseError), transaction.atomic():
        PouredRow.objects.create(**fields)


def test_where_it_met(job: Any, wall: Any) -> None:
    """The house but the wall that was rinsed; a note of each house in one answer, with one query."""
    pour(job, "hypochlorite", None, 0)
    rinse(job, wall, 5)
    pour(job, "acid", None, 10, happened=True)
    notes = notes_of_house(property_id=job.property_id, now=NOON + HOUR, zone=ZONE)
    (note,) = notes.met
    assert note.words.startswith("STOP, whole house but south wall: by the record")
    assert (notes.for_wall(wall.pk), notes.for_wall(wall.pk + 1)) == ((), (note,))
    assert [line.what for line in poured_record(property_id=job.property_id)] == ["hypochlorite", RINSE, "acid"]


def test_what_is_not_rinsed_in_words(job: Any, wall: Any) -> None:
    pour(job, "hypochlorite", wall, 0)
    pour(job, "surfactant", wall, 1)
    notes = notes_of_house(property_id=job.property_id, now=NOON, zone=ZONE)
    assert notes.unrinsed == (
        "South wall: hypochlorite of Mon, Jun 1, 2026, 12:00 pm is not rinsed on record. "
        "Rinse before what must not meet it.",
    )


@pytest.mark.parametrize("name", ["South wall ", "east gable"])
def test_a_wall_that_stayed_behind_when_two_houses_became_one(job: Any, wall: Any, name: str) -> None:
    """What was poured on it counts for the wall of the same name, or else for the whole house."""
    other = factories.make_job(property=factories.make_property(street="14 Elm Street"))
    behind = factories.make_wall(property=other.property, name=name)
    pour(other, "hypochlorite", behind, 0)
    Job.objects.filter(pk=other.pk).update(property=job.property)
    with pytest.raises(MustNotMeet):
        pour(job, "acid", wall, 1)
    pour(job, "acid", wall, 1, happened=True)
    notes = notes_of_house(property_id=job.property_id, now=NOON + HOUR, zone=ZONE)
    assert [note.is_stop for note in notes.for_wall(wall.pk)] == [True]
    rinse(job, wall, 2)
    assert pour(job, "surfactant", wall, 3).pk


def test_a_rinse_of_a_wall_that_stayed_behind_clears_no_other(job: Any, wall: Any) -> None:
    other = factories.make_job(property=factories.make_property(street="14 Elm Street"))
    behind = factories.make_wall(property=other.property, name="east gable")
    pour(job, "hypochlorite", wall, 0)
    rinse(other, behind, 1)
    Job.objects.filter(pk=other.pk).update(property=job.property)
    with pytest.raises(MustNotMeet):
        pour(job, "acid", wall, 2)


def sides(job: Any, count: int = 4) -> list[Any]:
    return [factories.make_wall(property=job.property, name=f"side {k + 1}") for k in range(count)]


def lies_there(job: Any) -> frozenset[str]:
    return unrinsed(poured_record(property_id=job.property_id), None)


def test_a_whole_house_is_rinsed_wall_by_wall(job: Any) -> None:
    """Once the last wall of all was rinsed after the pour, nothing of it is left anywhere."""
    walls = sides(job)
    pour(job, "hypochlorite", None, 0)
    for k, wall in enumerate(walls):
        with pytest.raises(MustNotMeet):
            pour(job, "acid", None, k + 1)
        rinse(job, wall, k + 1)
    assert lies_there(job) == frozenset()
    assert not notes_of_house(property_id=job.property_id, now=NOON + HOUR, zone=ZONE).unrinsed
    assert pour(job, "acid", None, 10).pk
    assert lies_there(job) == {"acid"}


@pytest.mark.parametrize(
    ("rinsed", "fewer", "again"),
    [
        ((1, 2, 3), False, None),  # one wall is not rinsed
        ((0, 1, 2, 3), False, None),  # one in the instant of the pour
        ((1, 2, 3, 4), False, 3),  # poured again before the last
        ((1, 2, 3), True, None),  # a house has sides that nobody entered
    ],
)
def test_wall_by_wall_stays_on_the_safe_side(job: Any, rinsed: tuple[int, ...], fewer: bool, again: int | None) -> None:
    walls = sides(job, 3 if fewer else 4)
    pour(job, "hypochlorite", None, 0)
    for wall, minute in zip(walls, rinsed, strict=False):
        rinse(job, wall, minute)
        if minute == again:
            pour(job, "hypochlorite", None, minute)
    assert lies_there(job) == {"hypochlorite"}
    with pytest.raises(MustNotMeet):
        pour(job, "acid", None, 10)


def test_what_a_wall_got_after_its_own_rinse_still_lies_there(job: Any) -> None:
    """That the other walls are rinsed afterwards takes nothing away of it."""
    first, *rest = sides(job)
    pour(job, "hypochlorite", None, 0)
    rinse(job, first, 1)
    pour(job, "hypochlorite", first, 2)
    for wall in rest:
        rinse(job, wall, 3)
    assert unrinsed(poured_record(property_id=job.property_id), first.pk) == {"hypochlorite"}
    with pytest.raises(MustNotMeet):
        pour(job, "acid", None, 10)


def test_what_met_on_a_whole_house_is_rinsed_wall_by_wall(job: Any) -> None:
    walls = sides(job)
    pour(job, "acid", None, 20)
    pour(job, "hypochlorite", None, 0, came=60)
    assert met(job, 61)[0].is_stop
    for wall in walls:
        rinse(job, wall, 62)
    (note,) = met(job, 63)
    assert (note.is_stop, note.is_rinsed) == (False, True)


@given(entries)
def test_the_whole_house_keeps_what_any_wall_keeps(record: list[Poured]) -> None:
    """Rinsed wall by wall, a pour on the whole house lies there exactly as long as it lies on one of its walls."""
    pours = [line for line in record if line.wall_id is None or line.what == RINSE]
    more = [Poured(RINSE, NOWHERE_NAMED, at) for at in rinsed_one_by_one(pours, WALLS)]
    on_walls = {line.what for wall in WALLS for line in wall_record(pours, wall).lying}
    assert {line.what for line in wall_record([*pours, *more], None).lying} == on_walls
