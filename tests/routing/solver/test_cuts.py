"""Subset-row cuts must cut off mixtures of routes only, never a choice of whole ones."""

from itertools import combinations

from hypothesis import given, settings
from hypothesis import strategies as st

from routing.solver.cuts import LEAST_VIOLATION, Cut, violated

JOBS = 7
ROUTE = st.lists(st.integers(0, JOBS - 1), min_size=1, max_size=6).map(tuple)
"""A relaxed route may come back to a job."""
REAL_ROUTES = st.lists(ROUTE.filter(lambda route: len(set(route)) == len(route)), min_size=1, max_size=7)
MIXTURE = st.lists(st.tuples(ROUTE, st.integers(1, 8).map(lambda eighths: eighths / 8)), min_size=1, max_size=8)


@st.composite
def cuts(draw: st.DrawFn) -> Cut:
    """Any three jobs with any memory that holds them."""
    a, b, c = sorted(draw(st.lists(st.integers(0, JOBS - 1), min_size=3, max_size=3, unique=True)))
    return Cut((a, b, c), frozenset({a, b, c}) | draw(st.frozensets(st.integers(0, JOBS - 1))))


def _used_up(cut: Cut, routes: list[tuple[int, ...]]) -> int:
    """The most that any choice of these routes which does each job at most once uses the cut up."""
    return max(
        sum(cut.whole_share(route) for route in chosen)
        for size in range(len(routes) + 1)
        for chosen in combinations(routes, size)
        if len({job for route in chosen for job in route}) == sum(map(len, chosen))
    )


@settings(max_examples=300, deadline=None)
@given(cuts(), REAL_ROUTES)
def test_no_choice_of_whole_routes_is_cut_off(cut: Cut, routes: list[tuple[int, ...]]) -> None:
    """Every choice tried: together its routes use a cut up at most once, even if they forget nothing."""
    assert _used_up(cut, routes) <= 1


@settings(max_examples=300, deadline=None)
@given(cuts(), ROUTE)
def test_forgetting_only_weakens_a_cut(cut: Cut, route: tuple[int, ...]) -> None:
    everything = Cut(cut.jobs, frozenset(range(JOBS)))
    assert cut.share(route) <= everything.share(route) == cut.whole_share(route)


@settings(max_examples=300, deadline=None)
@given(MIXTURE, st.frozensets(st.integers(0, JOBS - 1), max_size=2))
def test_what_is_found_cuts_the_mixture_off(
    mixture: list[tuple[tuple[int, ...], float]], barred: frozenset[int]
) -> None:
    """The memory is large enough for the routes at hand, and barred jobs are in no cut."""
    for cut in violated(mixture, barred, 5):
        assert barred.isdisjoint(cut.jobs)
        assert sum(share * cut.share(route) for route, share in mixture) > 1 + LEAST_VIOLATION - 1e-9


def test_three_pairs_by_halves_are_found() -> None:
    pairs = [((0, 1), 0.5), ((1, 2), 0.5), ((0, 2), 0.5)]
    assert [cut.jobs for cut in violated(pairs, (), 5)] == [(0, 1, 2)]
