"""The judge finds every rule that is broken on purpose."""

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from routing.solver import LeftOut, Plan, RoutePlan, evaluate, parse_problem, schedule_route
from tests.routing.solver.days import four_stop_day

Changes = dict[str, Any]


def _good_plan(data: Changes | None = None) -> tuple[Any, Plan]:
    problem = parse_problem(data or four_stop_day())
    route = schedule_route(problem, "A", ["J1", "J2", "J3"])
    assert isinstance(route, RoutePlan)
    left = (LeftOut("J4", "not_worth_a_slot"),)
    return problem, Plan("feasible", 14_500.0, 14_500.0, 0.0, (route,), left)


def test_a_good_plan_has_no_fault() -> None:
    """The plan that the mutations below start from keeps every rule."""
    problem, plan = _good_plan()
    judged = evaluate(problem, plan)
    assert judged.keeps_the_rules
    assert judged.value_cents == plan.value_cents


def _route(**changes: Any) -> Callable[[Plan], Plan]:
    return lambda plan: replace(plan, routes=(replace(plan.routes[0], **changes),))


def _stop(index: int, **changes: Any) -> Callable[[Plan], Plan]:
    def change(plan: Plan) -> Plan:
        stops = list(plan.routes[0].stops)
        stops[index] = replace(stops[index], **changes)
        return _route(stops=tuple(stops))(plan)

    return change


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (_route(leave=-5), "before its shift's start"),
        (_route(leave=5), "needs 10 minutes in one piece, 5 are there"),
        (_route(back=285), "needs 40 minutes in one piece, 35 are there"),
        (_route(back=500), "after its shift's end"),
        (_route(break_start=None), "without its break, due from 120"),
        (_route(break_start=110), "begins its break at 110, outside 120-200"),
        (_route(break_start=130), "works during the break"),
        (_route(break_start=150), "in one piece"),
        (_stop(1, start=75, finish=135), "before the arrival"),
        (_stop(1, finish=139), "59 minutes on site, 60 are needed"),
        (_stop(2, arrive=180), "in one piece"),
        (_stop(0, start=125, finish=185), "outside every window"),
        (_stop(0, job="J9"), "job J9 is unknown"),
        (_stop(0, job="J2"), "J2 appears 2 times"),
        (_route(crew="Z"), "crew Z is unknown"),
        (_route(drive_minutes=81), "drive_minutes is given as 81"),
        (_route(drive_metres=81), "drive_metres is given as 81"),
        (_route(paid_minutes=290), "paid_minutes is given as 290"),
        (_route(value_cents=14_501.0), "value_cents is given as 14501.0"),
        (lambda plan: replace(plan, routes=plan.routes * 2), "crew A has 2 routes"),
        (lambda plan: replace(plan, left_out=()), "J4 is neither placed nor left out"),
        (lambda plan: replace(plan, left_out=(LeftOut("J4", "tired"),)), "no reason"),  # type: ignore[arg-type]
        (lambda plan: replace(plan, value_cents=1.0), "value_cents is given as 1.0"),
        (lambda plan: replace(plan, upper_bound_cents=14_000.0), "below the plan's value"),
        (lambda plan: replace(plan, gap=0.5), "gap is given as 0.5"),
        (
            lambda plan: replace(plan, status="optimal", upper_bound_cents=20_000.0, gap=0.275),
            "cannot have a gap",
        ),
        (lambda plan: replace(plan, status="fine"), "not of the contract"),
    ],
)
def test_a_broken_plan_is_faulted(change: Callable[[Plan], Plan], words: str) -> None:
    """Each change breaks one rule, and the judge says which."""
    problem, plan = _good_plan()
    assert words in "; ".join(evaluate(problem, change(plan)).faults)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda d: d["crews"][0].update(skills=[]), "the crew lacks lift"),
        (lambda d: d["crews"][0].update(capacity={"mix_litres": 59}), "uses 60 mix_litres, carries 59"),
        (lambda d: d["jobs"][0].update(crews=[]), "may not do the job"),
        (lambda d: d["jobs"][3].update(must_do=True), "J4 is promised and not placed"),
        (lambda d: d.update(fixed={"A": ["J2"]}), "does not begin with J2 as fixed"),
        (lambda d: d["drive_minutes"][2].__setitem__(3, None), "it is never driven"),
        (lambda d: d["crews"][0].pop("break"), "takes a break that it does not have"),
        (lambda d: d["crews"][0].update(pace_percent=101), "60 minutes on site, 61 are needed"),
        (lambda d: d.update(reserve_cents_per_crew_hour=6060), "comes to 14240.0"),
        (lambda d: d["jobs"][0].update(prefer={"crew": "A", "cents": 700}), "comes to 15200.0"),
    ],
)
def test_a_plan_for_another_problem_is_faulted(change: Callable[[Changes], None], words: str) -> None:
    """The same plan under one changed rule or price."""
    _, plan = _good_plan()
    data = four_stop_day()
    change(data)
    assert words in "; ".join(evaluate(parse_problem(data), plan).faults)


def test_an_infeasible_plan_lists_what_it_does_not_keep() -> None:
    """Broken promises of a plan that says so are not faults of the plan."""
    data = four_stop_day()
    data["jobs"][3]["must_do"] = True
    _, plan = _good_plan()
    judged = evaluate(parse_problem(data), replace(plan, status="infeasible", reasons=("...",)))
    assert judged.faults == ()
    assert judged.unkept == ("J4 is promised and not placed",)
