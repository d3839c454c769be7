"""The proof on a list of routes: cuts and shortening must never lose the best choice."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from routing.solver.listed import ListedRoutes
from routing.solver.master import Column, pack
from routing.solver.rank_one import violated_rank_one

JOBS = 9
SIZES = [1, 1, 2]
ROUTES = st.builds(
    Column,
    group=st.integers(0, len(SIZES) - 1),
    jobs=st.lists(st.integers(0, JOBS - 1), min_size=1, max_size=4, unique=True).map(tuple),
    ticks=st.integers(-1_000_000, 30_000_000),
)


@settings(max_examples=150, deadline=None)
@given(st.lists(ROUTES, min_size=1, max_size=40, unique_by=lambda c: (c.group, tuple(sorted(c.jobs)))))
def test_no_bound_is_below_the_best_choice_and_no_cut_or_shortening_loses_it(columns: list[Column]) -> None:
    """Whatever is cut off: the bound holds, and what is left of the list still holds the best choice."""
    best = pack(columns, SIZES)
    assert best is not None
    assert best.complete
    most = sum(columns[i].ticks for i in best.chosen)
    listed = ListedRoutes(columns, SIZES, JOBS, ())
    for _ in range(6):
        assert listed.round(most - 1) >= most
    whole = listed.part(len(columns))
    left = pack(whole.columns, SIZES, cuts=whole.cuts)
    assert left is not None
    assert sum(whole.columns[i].ticks for i in left.chosen) == most


@settings(max_examples=150, deadline=None)
@given(
    st.lists(ROUTES, min_size=1, max_size=40, unique_by=lambda c: (c.group, tuple(sorted(c.jobs)))),
    st.integers(1, 20),
)
def test_only_a_part_of_the_list_beats_the_floor_of_that_part(columns: list[Column], size: int) -> None:
    """The best choice is among the part, or worth no more than the floor."""
    best = pack(columns, SIZES)
    assert best is not None
    most = sum(columns[i].ticks for i in best.chosen)
    listed = ListedRoutes(columns, SIZES, JOBS, ())
    for _ in range(3):
        listed.round(most - 1)
        part = listed.part(size)
        if part.floor is None or most > part.floor:
            left = pack(part.columns, SIZES, cuts=part.cuts, above=part.floor)
            assert left is not None
            assert sum(part.columns[i].ticks for i in left.chosen) == most


@settings(max_examples=50, deadline=None)
@given(st.lists(ROUTES, min_size=1, max_size=40, unique_by=lambda c: (c.group, tuple(sorted(c.jobs)))))
def test_a_round_that_was_stopped_still_gives_a_bound(columns: list[Column]) -> None:
    """Prices of a half-made linear program bound the best choice all the same."""
    best = pack(columns, SIZES)
    assert best is not None
    listed = ListedRoutes(columns, SIZES, JOBS, (), np.ones(1, np.bool_))
    assert listed.round(0) >= sum(columns[i].ticks for i in best.chosen)


@settings(max_examples=150, deadline=None)
@given(st.lists(ROUTES, min_size=1, max_size=40, unique_by=lambda c: (c.group, tuple(sorted(c.jobs)))))
def test_a_dive_makes_a_plan_of_listed_routes_and_leaves_the_bound_alone(columns: list[Column]) -> None:
    """Each job once, each crew once, none better than the best choice; and the next bound still holds."""
    best = pack(columns, SIZES)
    assert best is not None
    most = sum(columns[i].ticks for i in best.chosen)
    listed = ListedRoutes(columns, SIZES, JOBS, ())
    for _ in range(2):
        listed.round(most - 1)
        plan = listed.dive()
        jobs = [job for column in plan for job in column.jobs]
        assert set(plan) <= set(columns)
        assert len(jobs) == len(set(jobs))
        assert all([c.group for c in plan].count(g) <= size for g, size in enumerate(SIZES))
        assert sum(c.ticks for c in plan) <= most
    assert listed.round(most - 1) >= most


def test_a_dive_finds_the_only_plan_that_is_worth_it() -> None:
    """What the program mixes by halves is made whole: one pair of jobs, and the job beside it."""
    pairs = [Column(0, pair, 3_000_000) for pair in ((0, 1), (1, 2), (0, 2))]
    listed = ListedRoutes([*pairs, *(Column(0, (job,), 100) for job in range(3))], [2], 3, ())
    listed.round(0)
    assert sum(column.ticks for column in listed.dive()) == 3_000_100


def test_cuts_close_what_the_linear_program_leaves_open() -> None:
    """Three jobs in pairs, and two crews: by halves the program does all three pairs, worth half a pair too much."""
    pairs = [Column(0, pair, 3_000_000) for pair in ((0, 1), (1, 2), (0, 2))]
    listed = ListedRoutes(pairs, [2], 3, ())
    assert [listed.round(0), listed.round(0)] == [4_500_000, 3_000_000]


def test_cuts_hold_crews_too() -> None:
    """One crew can do either job, the other both at once: by halves the program does all three, one too many."""
    columns = [Column(0, (0,), 2_000_000), Column(0, (1,), 2_000_000), Column(1, (0, 1), 2_000_000)]
    listed = ListedRoutes(columns, [1, 1], 2, ())
    assert [listed.round(0), listed.round(0)] == [3_000_000, 2_000_000]


def test_cuts_hold_five_jobs_where_three_do_not_help() -> None:
    """Five jobs in a ring of pairs: by halves the program does all five pairs, and no three jobs are overused."""
    ring = [(0, 1), (1, 2), (2, 3), (3, 4), (0, 4)]
    listed = ListedRoutes([Column(0, pair, 2_000_000) for pair in ring], [3], 5, ())
    assert [listed.round(0), listed.round(0)] == [5_000_000, 4_000_000]


@settings(max_examples=200, deadline=None)
@given(
    st.lists(
        st.tuples(
            st.lists(st.integers(0, JOBS - 1), min_size=1, max_size=5, unique=True).map(tuple), st.floats(0.05, 0.95)
        ),
        min_size=1,
        max_size=12,
    ),
    st.permutations(range(JOBS)),
    st.lists(st.integers(1, JOBS - 1), max_size=4, unique=True).map(sorted),
)
def test_no_plan_breaks_a_wide_cut(
    mixed: list[tuple[tuple[int, ...], float]], order: list[int], splits: list[int]
) -> None:
    """Whatever is found in whatever mixture: routes that share no row use up no more than they may."""
    plan = [tuple(order[a:b]) for a, b in zip([0, *splits], [*splits, JOBS], strict=True)]
    for cut in violated_rank_one(mixed, (), 20):
        assert sum(cut.share(route) for route in plan) <= cut.most
        assert sum(share * cut.share(route) for route, share in mixed) > cut.most
