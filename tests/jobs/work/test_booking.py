"""What a visit took is shared out over its lines without losing a cent, a minute or a metre."""

from dataclasses import astuple, fields

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.work.domain.booking import LineAgreed, LineBooked, VisitTotals, split_minutes, split_visit

AMOUNT = st.integers(min_value=0, max_value=10**7)
LINES = st.lists(st.tuples(AMOUNT, AMOUNT, st.integers(0, 2000)), min_size=1, max_size=6)
MAYBE = st.none() | st.integers(0, 2000)


@given(LINES, st.data())
def test_every_total_is_shared_out_exactly(rows: list[tuple[int, int, int]], data: st.DataObject) -> None:
    """Minutes, driving, wages, truck and the price after discount add up to the visit's totals."""
    agreed = [LineAgreed(i, *row) for i, row in enumerate(rows)]
    totals = VisitTotals(*(data.draw(AMOUNT) for _ in fields(VisitTotals)))
    booked = [LineBooked(i, data.draw(MAYBE), data.draw(MAYBE)) for i in range(len(rows))]
    price = sum(line.price_cents for line in agreed)
    discount = data.draw(st.integers(0, price))
    shares = split_visit(totals, agreed, booked, discount)
    for name in (field.name for field in fields(VisitTotals)):
        assert sum(getattr(share, name) for share in shares) == getattr(totals, name)
    assert sum(share.price_cents for share in shares) == price - discount
    assert all(value >= 0 for share in shares for value in astuple(share))
    assert [share.line_id for share in shares] == list(range(len(rows)))


@given(st.integers(0, 3000), st.lists(st.tuples(MAYBE, st.integers(0, 600)), min_size=1, max_size=6))
def test_minutes_add_up(total: int, lines: list[tuple[int | None, int]]) -> None:
    """However the crew booked, the lines hold the minutes on site, and what fits is kept as booked."""
    booked, estimated = [line[0] for line in lines], [line[1] for line in lines]
    parts = split_minutes(total, booked, estimated)
    assert sum(parts) == total
    if None in booked and sum(minutes or 0 for minutes in booked) <= total:
        assert all(part == said for part, said in zip(parts, booked, strict=True) if said is not None)


@pytest.mark.parametrize(
    ("booked", "expected"),
    [
        ([None, None], [80, 40]),  # by the estimates, 100 and 50
        ([90, 30], [90, 30]),
        ([60, 20], [90, 30]),  # both booked, in proportion: the rest was set-up and packing
        ([30, None], [30, 90]),
        ([150, None], [90, 30]),  # more than there was: in proportion to 150 and the other's estimate
    ],
)
def test_who_booked_what(booked: list[int | None], expected: list[int]) -> None:
    """120 minutes on site over two lines estimated at 100 and 50 minutes."""
    assert split_minutes(120, booked, [100, 50]) == expected


def test_materials_are_as_booked_else_as_agreed() -> None:
    """Silence means what was agreed, nothing used means nothing."""
    agreed = [LineAgreed(1, 10_000, 500, 60), LineAgreed(2, 5_000, 300, 30), LineAgreed(3, 5_000, 300, 30)]
    booked = [LineBooked(2, materials_cents=0), LineBooked(3, materials_cents=750)]
    assert [share.materials_cents for share in split_visit(VisitTotals(120), agreed, booked)] == [500, 0, 750]
