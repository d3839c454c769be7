"""Bounds that must hold whatever the clock or the length of a step does."""

import random

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from ortools.math_opt.python import mathopt

from routing.solver import Params, Problem, RoundLimit, optimiser, parse_problem, solve
from routing.solver.bounds_kernel import LANES, _raise, completion_bounds
from routing.solver.classes import ClassPricing, crew_classes
from routing.solver.colgen import ng_sets
from routing.solver.compiled import day_of
from routing.solver.enumeration import Reach
from routing.solver.finish import routes_value
from routing.solver.listed import ListedRoutes
from routing.solver.master import NoPrices
from routing.solver.model import build_model
from routing.solver.money import TICKS_PER_CENT
from routing.solver.optimiser import Optimiser, worth_step
from routing.solver.pricing import nearest
from routing.solver.solve import prepared
from tests.benchmarks.solver_days import DayKind, realistic_day
from tests.routing.solver.strategies import day_problems


def test_listing_without_a_choice_proves_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where no choice among the listed routes is found in time, the bound is that of their linear program."""
    problem = parse_problem(realistic_day(DayKind("day", 12, 2, 5)))
    most = solve(problem, stop=RoundLimit(30))
    assert most.status == "optimal"
    model, routes = prepared(problem)
    best = Optimiser(model, routes, 1, Params(most_choice=0), RoundLimit(30).started())
    monkeypatch.setattr(optimiser, "pack", lambda *_, **__: None)
    monkeypatch.setattr(best.search, "run", lambda *_: [])
    monkeypatch.setattr(best, "_find_plans", lambda: None)
    listed = []
    monkeypatch.setattr(best, "_choose_listed", lambda part, floor: listed.append(part))
    best.run(lambda: None)
    assert listed
    assert not best.closed
    assert best.plain_bound >= most.value_cents * TICKS_PER_CENT


def test_pricing_that_was_stopped_claims_no_bound() -> None:
    """Time may end inside compiled code; half-made tables would promise too little."""
    model, routes = prepared(parse_problem(realistic_day(DayKind("day", 12, 2, 5))))
    pool = Optimiser(model, routes, 1, Params(), RoundLimit(3).started()).pool
    pool.stop[0] = True
    assert pool.round()
    assert pool.best is None
    pool.stop[0] = False
    pool.round()
    assert pool.best is not None


@pytest.mark.parametrize("seed", range(8))
def test_longer_steps_never_lower_a_bound(seed: int) -> None:
    """Times are rounded down to steps, breaks included, so that coarse completion bounds stay valid."""
    data, rng = realistic_day(DayKind("day", 14, 2, seed)), random.Random(seed)
    for crew in data["crews"]:
        opens = crew["shift"][0] + rng.randint(150, 260)
        crew["break"] = {"minutes": rng.choice([25, 35, 45]), "window": [opens, opens + 5], "paid": False}
    model = build_model(parse_problem(data))
    day, prices = day_of(model, model.gain), np.zeros(model.job_count, np.int64)
    keeps = ng_sets(model, day, 8)
    for group in crew_classes(model, day):
        pricing = ClassPricing(model, day, group)
        reduced, root = pricing.reduced(prices), pricing.root(prices)
        near = nearest(day, root.crew, reduced, group.jobs, keeps, 2)
        most = [
            completion_bounds(day, root, reduced, group.jobs, near, grain, pricing.stop)[1] for grain in (1, 2, 3, 4, 7)
        ]
        assert min(most) == most[0]


def test_an_abnormal_end_of_the_linear_program_is_made_up_for(monkeypatch: pytest.MonkeyPatch) -> None:
    """GLOP gives up with an error on some days; HiGHS then gives the same prices, and GLOP goes on afterwards."""
    model, routes = prepared(parse_problem(realistic_day(DayKind("day", 12, 2, 5))))
    pool = Optimiser(model, routes, 1, Params(), RoundLimit(3).started()).pool
    whole = pool._master.prices().total_ticks

    def abnormal(self: object) -> None:
        raise AttributeError("'StatusNotOk' object has no attribute 'canonical_code'")

    with monkeypatch.context() as patched:
        patched.setattr(mathopt.IncrementalSolver, "solve", abnormal)
        assert pool._master.prices().total_ticks == pytest.approx(whole)
    assert pool._master.prices().total_ticks == pytest.approx(whole)


def _round_gains(gains: list[int], *, wage: int) -> Optimiser:
    """One crew, jobs at the yard that last an hour each, two hours."""
    crew = {"id": "A", "start": "yard", "end": "yard", "shift": [0, 120], "cents_per_minute": wage,
            "cents_per_km": 0, "fixed_cents": 0}  # fmt: skip
    jobs = [
        {"id": f"J{n}", "place": "yard", "on_site_minutes": 60, "windows": [[0, 120]], "gain_cents": gain}
        for n, gain in enumerate(gains)
    ]
    problem = {"format": "day-problem/1", "places": ["yard"], "drive_minutes": [[0]], "drive_metres": [[0]],
               "crews": [crew], "jobs": jobs}  # fmt: skip
    model, routes = prepared(parse_problem(problem))
    return Optimiser(model, routes, 1, Params(), RoundLimit(3).started())


def test_a_bound_is_rounded_down_to_what_a_plan_can_be_worth() -> None:
    """Gains of 300 and 500 cents without costs: plans are worth whole hundreds, so 849 cents are no bound but 800."""
    best = _round_gains([300, 500, 500], wage=0)
    best.value = 500 * TICKS_PER_CENT
    best._lower(849 * TICKS_PER_CENT)
    assert best.bound == 800 * TICKS_PER_CENT


def test_wages_by_the_minute_make_the_steps_smaller() -> None:
    """With 7 cents a minute and any number of minutes, a plan may be worth any whole cent."""
    assert worth_step(_round_gains([300, 500], wage=7).day) == TICKS_PER_CENT


@settings(max_examples=200, deadline=None)
@given(day_problems(max_jobs=5))
def test_every_plan_is_worth_a_whole_number_of_steps(problem: Problem) -> None:
    model, routes = prepared(problem)
    assert routes_value(model, routes) % worth_step(day_of(model, model.gain)) == 0


@settings(max_examples=200, deadline=None)
@given(st.integers(0, 40), st.integers(-3, 50), st.integers(0, 60), st.integers(0, 2**32 - 1))
def test_cells_are_raised_like_one_by_one(at: int, size: int, first: int, seed: int) -> None:
    """What is asked for is raised, no cell is lowered, and nothing beyond the last whole lane is touched."""
    rng = np.random.default_rng(seed)
    window, cells = rng.integers(-9, 9, 120).astype(np.float32), rng.integers(-9, 9, 140).astype(np.float32)
    raised = window.copy()
    _raise(raised, at, cells, first, size, np.float32(2))
    for t in range(size):
        assert raised[at + t] == max(window[at + t], cells[first + t] - 2)
    assert (raised >= window).all()
    end = at + -(-max(0, size) // LANES) * LANES
    assert (np.delete(raised, np.s_[at:end]) == np.delete(window, np.s_[at:end])).all()


def test_the_first_prices_give_a_bound_of_some_worth() -> None:
    """Before the linear program knows the routes that matter, the bound is a few per cent off, not a multiple."""
    problem = parse_problem(realistic_day(DayKind("day", 40, 4, 3)))
    model, routes = prepared(problem)
    best = Optimiser(model, routes, 1, Params(), RoundLimit(3).started())
    best.pool.round()
    assert best.pool.best is not None
    assert best.pool.best.ticks - best.bonus * int(model.must_do.sum()) <= 1.25 * routes_value(model, routes)


def test_a_list_that_was_too_long_is_tried_on_half_the_gap_and_a_short_one_on_more() -> None:
    reach = Reach(1_000, 4_000)
    assert reach.within(800) == 800
    reach.failed(800)
    assert (reach.within(800), reach.labels) == (400, 2_000)
    reach.made(400, 350)
    assert (reach.within(5_000), reach.labels) == (800, 4_000)
    assert reach.within(300) == 300
    reach.made(300, 10**9)
    assert (reach.within(5_000), reach.labels) == (4, 4_000)


def test_a_list_whose_linear_program_fails_is_given_up(monkeypatch: pytest.MonkeyPatch) -> None:
    """The day is then solved without that list, and nothing is claimed for it."""
    problem = parse_problem(realistic_day(DayKind("day", 12, 2, 5)))
    model, routes = prepared(problem)
    best = Optimiser(model, routes, 1, Params(), RoundLimit(10).started())

    def fails(*_: object) -> int:
        raise NoPrices("abnormal")

    monkeypatch.setattr(ListedRoutes, "round", fails)
    monkeypatch.setattr(best, "_find_plans", lambda: None)
    best.run(lambda: None)
    assert best._listed is None
    assert best.plain_bound >= solve(problem, stop=RoundLimit(30)).value_cents * TICKS_PER_CENT
