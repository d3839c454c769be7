"""Shares of a route's driving."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pricing.earnings.domain.driving import driving_shares

PLACES = 7


@st.composite
def routes(draw):
    """A random table (asymmetric, free to break the triangle inequality) and a route through it."""
    table = draw(
        st.lists(
            st.lists(st.integers(0, 200), min_size=PLACES, max_size=PLACES),
            min_size=PLACES,
            max_size=PLACES,
        )
    )
    order = draw(st.lists(st.integers(1, PLACES - 1), max_size=9))
    end = draw(st.integers(0, PLACES - 1))
    return table, order, end


def driving(table, order, start, end):
    route = [start, *order, end]
    return sum(table[a][b] for a, b in zip(route, route[1:], strict=False))


@given(routes())
def test_the_shares_add_up_exactly_to_the_driving_of_the_route(case):
    """Whole, never negative, and the sum is the route's driving to the minute."""
    table, order, end = case
    shares = driving_shares(table, order, 0, end)
    assert len(shares) == len(order)
    assert all(isinstance(share, int) and share >= 0 for share in shares)
    if order:
        assert sum(shares) == driving(table, order, 0, end)


@given(routes(), st.permutations(range(PLACES)))
def test_names_of_places_do_not_matter(case, names):
    """The same route under other place numbers has the same shares."""
    table, order, end = case
    renamed = {names[a] * PLACES + names[b]: table[a][b] for a in range(PLACES) for b in range(PLACES)}
    shares = driving_shares(lambda a, b: renamed[a * PLACES + b], [names[i] for i in order], names[0], names[end])
    assert shares == driving_shares(table, order, 0, end)


@given(routes())
def test_no_stop_that_saves_nothing_is_charged_while_others_save(case):
    """A share follows the saving: nothing saved, nothing charged; a larger saving is never charged less."""
    table, order, end = case
    route = [0, *order, end]
    savings = [
        max(0, table[a][b] + table[b][c] - table[a][c]) for a, b, c in zip(route, route[1:], route[2:], strict=False)
    ]
    shares = driving_shares(table, order, 0, end)
    if any(savings):
        for (saving, share), (other, other_share) in zip(
            zip(savings, shares, strict=True), sorted(zip(savings, shares, strict=True)), strict=True
        ):
            assert saving > 0 or share == 0
            assert saving <= other or share >= other_share - 1


def test_a_route_worked_by_hand():
    """Yard 0, stops 1 and 2: 12 + 9 + 19 = 40 minutes.

    Without stop 1 the crew drives 0-2-0: 20 + 19 = 39, saving 1. Without stop 2: 0-1-0: 12 + 11 = 23, saving
    17. Shares: 40 x 1/18 = 2.2 -> 2 and 40 x 17/18 = 37.8 -> 38.
    """
    table = [[0, 12, 20], [11, 0, 9], [19, 10, 0]]
    assert driving_shares(table, [1, 2], 0, 0) == [2, 38]


def test_a_single_stop_takes_all():
    """There and back belongs to the only stop, even when the way there is longer than the way home."""
    assert driving_shares([[0, 31], [17, 0]], [1], 0, 0) == [48]


def test_negative_savings_count_as_nothing():
    """A stop on a shortcut that the table lacks (0-1-2 shorter than 0-2) is not credited, nor charged."""
    table = [[0, 5, 30], [5, 0, 5], [30, 5, 0]]
    # Without stop 1: 30 + 30 against 5 + 5 + 30, a saving of -20. Without stop 2: 10, a saving of 30.
    assert driving_shares(table, [1, 2], 0, 0) == [0, 40]


def test_savings_of_nothing_share_evenly():
    """Two jobs at one far house: leaving one out saves nothing, so each carries half."""
    assert driving_shares([[0, 20], [21, 0]], [1, 1], 0, 0) == [21, 20]


def test_no_stops_no_shares():
    """An empty route has nobody to charge."""
    assert driving_shares([[0]], [], 0, 0) == []


def test_a_route_over_a_missing_road_is_refused():
    """A driven leg without a road is an error, an undriven one between the neighbours is not."""
    table = [[0, 4, None], [4, 0, 6], [7, 6, 0]]
    assert driving_shares(table, [1, 2], 0, 0) == [0, 17]
    with pytest.raises(ValueError, match="from place 0 to place 2"):
        driving_shares(table, [2, 1], 0, 0)
