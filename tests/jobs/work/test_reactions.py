"""What must never meet on a wall: pure rule, service and database."""

import uuid
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.db import DatabaseError, connection, transaction
from hypothesis import given
from hypothesis import strategies as st

from jobs.work.domain.reactions import NEVER_TOGETHER, RINSE, Chemistry, Poured, reacts_with, unrinsed
from jobs.work.errors import MustNotMeet, RecordedOtherwise
from jobs.work.models import Poured as PouredRow
from jobs.work.selectors import poured_record, steps_done
from jobs.work.services import pouring, product_pour, rinse_confirm, step_mark, wall_rinse
from shared.errors import Refused
from shared.events.append_only import AppendOnlyError
from tests import factories

NOW = datetime(2026, 6, 1, 15, 0, tzinfo=UTC)
WALLS = (1, 2)
lines = st.lists(st.tuples(st.sampled_from([RINSE, *Chemistry]), st.sampled_from([None, *WALLS])), max_size=12)


def made(*entries: tuple[str, int | None], since: int = 0) -> list[Poured]:
    """One a minute."""
    return [Poured(what, wall, NOW + timedelta(minutes=since + k)) for k, (what, wall) in enumerate(entries)]


@pytest.mark.parametrize(
    ("record", "on_wall_1", "anywhere"),
    [
        ([("acid", 1)], {"acid"}, {"acid"}),
        ([("acid", 2)], set(), {"acid"}),
        ([("acid", None)], {"acid"}, {"acid"}),
        ([("acid", 1), (RINSE, 1)], set(), set()),
        ([("acid", 1), (RINSE, 2)], {"acid"}, {"acid"}),
        ([("acid", None), (RINSE, 1)], set(), {"acid"}),
        ([("acid", None), (RINSE, None)], set(), set()),
        ([("acid", None), (RINSE, 1), ("hypochlorite", None)], {"hypochlorite"}, {"acid", "hypochlorite"}),
        ([("acid", 1), ("other", 1)], {"acid", "other"}, {"acid", "other"}),
    ],
)
def test_what_lies_there(record: list[tuple[str, int | None]], on_wall_1: set[str], anywhere: set[str]) -> None:
    assert unrinsed(made(*record), 1) == on_wall_1
    assert unrinsed(made(*record), None) == anywhere


@given(lines, lines, st.sampled_from([None, *WALLS]))
def test_only_a_rinse_takes_anything_away(
    record: list[tuple[str, int | None]], more: list[tuple[str, int | None]], wall_id: int | None
) -> None:
    """What is poured afterwards never hides what lies there; a rinse of the whole house leaves nothing."""
    before = made(*record)
    poured = made(*(line for line in more if line[0] != RINSE), since=len(record))
    assert unrinsed(before + poured, wall_id) >= unrinsed(before, wall_id)
    assert not unrinsed(made(*record, (RINSE, None)), wall_id)
    assert unrinsed(before, None) >= unrinsed(before, 1)


def test_pairs() -> None:
    """Acid and ammonia with hypochlorite, whichever came first; nothing else."""
    assert {tuple(sorted(pair)) for pair in NEVER_TOGETHER} == {("acid", "hypochlorite"), ("ammonia", "hypochlorite")}
    assert reacts_with("acid", {"hypochlorite", "surfactant"}) == {"hypochlorite"}
    assert reacts_with("hypochlorite", {"acid", "ammonia"}) == {"acid", "ammonia"}
    assert not reacts_with("alkaline", {"hypochlorite"})


@pytest.fixture
def job(db: None) -> Any:
    return factories.make_job()


@pytest.fixture
def wall(job: Any) -> Any:
    return factories.make_wall(property=job.property)


def pour(job: Any, chemistry: str, wall: Any = None, minute: int = 0, **over: Any) -> PouredRow:
    at = NOW + timedelta(minutes=minute)
    product = factories.make_product(chemistry=chemistry)
    return product_pour(
        **{"key": uuid.uuid4(), "job": job, "product": product, "wall": wall, "at": at, "now": at} | over
    )


def rinse(job: Any, wall: Any = None, minute: int = 0, **over: Any) -> PouredRow:
    at = NOW + timedelta(minutes=minute)
    return wall_rinse(**{"key": uuid.uuid4(), "job": job, "wall": wall, "at": at, "now": at} | over)


@pytest.mark.parametrize(
    ("first", "then"),
    [("hypochlorite", "acid"), ("hypochlorite", "ammonia"), ("acid", "hypochlorite"), ("ammonia", "hypochlorite")],
)
def test_never_without_a_rinse(job: Any, wall: Any, first: str, then: str) -> None:
    """Refused with nothing written, allowed after the rinse of this wall."""
    pour(job, first, wall)
    with pytest.raises(MustNotMeet, match=r"^STOP\. .* no rinse is recorded"):
        pour(job, then, wall, minute=1)
    assert PouredRow.objects.count() == 1
    rinse(job, wall, minute=2)
    pour(job, then, wall, minute=3)
    assert PouredRow.objects.count() == 3


def test_the_rinse_of_another_wall_does_not_count(job: Any, wall: Any) -> None:
    other = factories.make_wall(property=job.property)
    pour(job, "hypochlorite")
    rinse(job, other, minute=1)
    pour(job, "acid", other, minute=2)
    with pytest.raises(MustNotMeet):
        pour(job, "acid", wall, minute=3)
    with pytest.raises(MustNotMeet):
        pour(job, "acid", minute=3)


def test_an_earlier_job_at_the_house_counts(job: Any, wall: Any) -> None:
    earlier = factories.make_job(property=job.property)
    pour(earlier, "hypochlorite", wall)
    with pytest.raises(MustNotMeet):
        pour(job, "acid", wall)


def test_a_rinse_that_came_up_late_counts_from_when_it_was(job: Any, wall: Any) -> None:
    """A phone without a signal sends the rinse of 2:10 after the hypochlorite of 2:00; acid at 2:20 is all right."""
    pour(job, "hypochlorite", wall, at=NOW - timedelta(minutes=60))
    rinse(job, wall, at=NOW - timedelta(minutes=50))
    assert pour(job, "acid", wall, at=NOW - timedelta(minutes=40)).pk


def test_the_same_entry_twice_is_one(job: Any, wall: Any) -> None:
    key = uuid.uuid4()
    product = factories.make_product()
    rows = {pour(job, "acid", wall, key=key, product=product).pk for _ in range(2)}
    assert len(rows) == 1
    with pytest.raises(RecordedOtherwise):
        rinse(job, wall, key=key)


def test_what_cannot_be(job: Any, wall: Any) -> None:
    with pytest.raises(Refused, match="another house"):
        rinse(job, factories.make_wall())
    for at in (NOW + timedelta(hours=1), NOW - timedelta(days=8)):
        with pytest.raises(Refused, match="time of this entry"):
            rinse(job, wall, at=at)
    with pytest.raises(Refused, match="without its basis"):
        pour(job, "acid", wall, basis_points=100)


def test_the_record_is_never_changed(job: Any, wall: Any) -> None:
    row = pour(job, "acid", wall)
    with pytest.raises(AppendOnlyError):
        PouredRow.objects.filter(pk=row.pk).update(chemistry="other")
    with pytest.raises(DatabaseError, match="append-only"), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("UPDATE work_poured SET chemistry = 'other'")
    assert [line.what for line in poured_record(property_id=job.property_id)] == ["acid"]


def test_steps_done_and_not_after_all(job: Any) -> None:
    line = job.lines.get()
    for minute, is_done in enumerate((True, False, True)):
        at = NOW + timedelta(minutes=minute)
        step_mark(key=uuid.uuid4(), job_line=line, step="rinse", is_done=is_done, at=at, now=at)
    assert steps_done(job_ids=[job.pk]) == {(line.pk, "rinse"): NOW + timedelta(minutes=2)}
    step_mark(key=uuid.uuid4(), job_line=line, step="rinse", is_done=False, at=at, now=at)
    assert steps_done(job_ids=[job.pk]) == {}


@pytest.mark.parametrize("write", [product_pour, wall_rinse, rinse_confirm])
def test_the_same_entry_twice_at_once_is_one_row(
    job: Any, wall: Any, owner: Any, monkeypatch: pytest.MonkeyPatch, write: Any
) -> None:
    """The other request was first at the house's row; this one finds what it wrote."""
    entry = {"key": uuid.uuid4(), "job": job, "wall": wall, "at": NOW, "now": NOW, "actor": owner}
    if write is product_pour:
        entry["product"] = factories.make_product(chemistry="hypochlorite")
    if write is rinse_confirm:
        entry["reason"] = "saw it done"
    guard, first = pouring._guard, []

    def overtaken(new: PouredRow, **limits: Any) -> None:
        monkeypatch.setattr(pouring, "_guard", guard)
        first.append(write(**entry))
        guard(new, **limits)

    monkeypatch.setattr(pouring, "_guard", overtaken)
    assert write(**entry) == first[0]
    assert PouredRow.objects.count() == 1
