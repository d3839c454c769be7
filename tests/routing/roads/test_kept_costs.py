"""Costs that are kept: whatever is asked for, in whatever order, each drive is searched once and comes out the same."""

from collections.abc import Sequence

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from routing.roads.domain.snapping import Snap
from routing.roads.models import DriveRow
from routing.roads.services.kept_costs import Costs, remembered_costs

pytestmark = pytest.mark.django_db
KEY = ("map", "speeds")


class Roads:
    """Drives between places by number: no way from even to odd ones, and what was searched so far."""

    def __init__(self) -> None:
        self.searched: list[tuple[int, int]] = []

    def cost(self, start: Snap, end: Snap) -> tuple[int, int]:
        if start.number == end.number:
            return 0, 0
        if start.segment % 2 < end.segment % 2:
            return -1, -1
        return 1_000 * start.segment + end.segment + 1, 7 * end.along_dm + start.segment + 1

    def search(self, starts: Sequence[Snap], ends: Sequence[Snap]) -> Costs:
        self.searched += [(start.number, end.number) for start in starts for end in ends]
        cells = np.array([[self.cost(start, end) for end in ends] for start in starts], np.int64)
        return cells[:, :, 0], cells[:, :, 1]


def place(number: int) -> Snap:
    return Snap(number, 10 * number, 0)


def asked(roads: Roads, starts: Sequence[Snap], ends: Sequence[Snap], *, keep: bool = True) -> list[list[int]]:
    ms, dm = remembered_costs(KEY, starts, ends, roads.search, keep=keep)
    expected = [[roads.cost(start, end) for end in ends] for start in starts]
    assert [list(zip(*lines, strict=True)) for lines in zip(ms.tolist(), dm.tolist(), strict=True)] == expected
    return ms.tolist()


def test_a_new_place_costs_one_row_and_one_column() -> None:
    """Six places: 36 drives in 6 rows. With a seventh 13 more, 7 from it and 6 to it, in 2 rows; then none."""
    roads = Roads()
    places = [place(number) for number in range(7)]
    asked(roads, places[:6], places[:6])
    assert (len(roads.searched), DriveRow.objects.count()) == (36, 6)
    roads.searched.clear()
    asked(roads, places, places)
    assert len(roads.searched) == 13
    assert DriveRow.objects.count() == 8
    roads.searched.clear()
    asked(roads, places[::-1], places)
    assert not roads.searched
    assert DriveRow.objects.count() == 8


def test_drives_back_to_one_place_are_one_row() -> None:
    roads = Roads()
    asked(roads, [place(number) for number in range(5)], [place(9)])
    assert [(row.place, row.is_back) for row in DriveRow.objects.all()] == [(place(9).number, True)]


def test_nothing_is_kept_where_nobody_wants_it() -> None:
    roads = Roads()
    asked(roads, [place(1)], [place(2)], keep=False)
    assert not DriveRow.objects.exists()


def test_other_speeds_and_maps_know_nothing_of_each_other() -> None:
    roads = Roads()
    asked(roads, [place(1)], [place(3)])
    for key in (("map", "others"), ("another", "speeds")):
        roads.searched.clear()
        remembered_costs(key, [place(1)], [place(3)], roads.search)
        assert len(roads.searched) == 1


NUMBERS = st.lists(st.integers(0, 7), max_size=6)


@settings(
    max_examples=30, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow]
)
@given(st.lists(st.tuples(NUMBERS, NUMBERS), min_size=1, max_size=5))
def test_whatever_is_asked_each_drive_is_right(requests: list[tuple[list[int], list[int]]]) -> None:
    """Places in any order and more than once, and none at all; what was asked before is not searched again."""
    DriveRow.objects.all().delete()
    roads = Roads()
    for starts, ends in requests:
        asked(roads, [place(number) for number in starts], [place(number) for number in ends])
        before = len(roads.searched)
        asked(roads, [place(number) for number in starts], [place(number) for number in ends])
        assert len(roads.searched) == before
