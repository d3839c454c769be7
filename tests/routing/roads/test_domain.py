"""Estimated drive tables: the properties that the solver and the pages lean on."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from routing.roads.domain import ESTIMATED, DriveTable, GreatCircle, drive_metres, drive_minutes
from routing.roads.services import drive_table

points = st.tuples(st.floats(-85, 85), st.floats(-180, 180))
towns = st.tuples(st.floats(39.9, 40.2), st.floats(-82.3, -81.9))


@pytest.mark.parametrize(
    ("metres", "minutes"),
    [
        (0, 0),
        (1, 1),  # never 0 between places
        (2_000, 4),  # 2 km at 30 km/h
        (2_001, 5),
        (12_000, 16),  # 4 + 10 km at 50 km/h = 12
        (52_000, 46),  # 16 + 40 km at 80 km/h = 30
    ],
)
def test_minutes_by_band(metres: int, minutes: int) -> None:
    """Worked by hand from the documented speeds, rounded up."""
    assert drive_minutes(metres) == minutes


def test_metres_by_hand() -> None:
    """0.1 degree of latitude is 11 119.5 m: 1.2 x 11 119.5 + 0.217 x 5000 = 14 428.4, rounded up."""
    assert drive_metres((40.0, -82.0), (40.1, -82.0)) == math.ceil(1.2 * 11_119.508 + 0.217 * 5_000)


@given(st.lists(st.one_of(points, towns), min_size=3, max_size=3))
def test_a_detour_is_never_shorter(places: list[tuple[float, float]]) -> None:
    """The triangle inequality in metres and minutes; one metre for the rounding of the sphere's arithmetic."""
    table = GreatCircle().table(places)
    for cells, slack in ((table.metres, 1), (table.minutes, 1)):
        direct, first, second = cells[0][2], cells[0][1], cells[1][2]
        assert direct is not None
        assert first is not None
        assert second is not None
        assert direct <= first + second + slack


@given(st.lists(points, max_size=6))
def test_symmetric_and_zero_only_at_home(places: list[tuple[float, float]]) -> None:
    """Both ways take the same; a place is 0 from itself, and no other place is."""
    table = GreatCircle().table(places)
    for a, start in enumerate(places):
        for b, end in enumerate(places):
            assert table.minutes[a][b] == table.minutes[b][a]
            assert table.metres[a][b] == table.metres[b][a]
            assert (table.minutes[a][b] == 0) == (start == end)
            assert (table.metres[a][b] == 0) == (start == end)


def test_the_source_is_named() -> None:
    """Every table says where it comes from."""
    assert GreatCircle().table([(40.0, -82.0)]) == DriveTable(((0,),), ((0,),), ESTIMATED)
    assert "estimated" in ESTIMATED


def test_another_source_can_answer() -> None:
    """The seam for road graphs and servers: whatever answers `table` is used alone."""

    class Ferry:
        def table(self, points: object) -> DriveTable:
            return DriveTable(((0, None), (None, 0)), ((0, None), (None, 0)), "ferry")

    assert drive_table([(0, 0), (1, 1)], drive_times=Ferry()).source == "ferry"
    assert GreatCircle().table([]) == DriveTable((), (), ESTIMATED)
