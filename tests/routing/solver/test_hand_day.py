"""The four-stop day, worked out by hand."""

import pytest

from routing.solver import (
    Broken,
    Plan,
    RoundLimit,
    RoutePlan,
    Stop,
    evaluate,
    parse_problem,
    schedule_route,
    solve,
)
from tests.routing.solver.brute_force import best_value
from tests.routing.solver.days import four_stop_day

# Out to 10, 20, 40 and back. Paid minutes = 80 driving + 180 on site = 260 (the break is unpaid).
# 450.00 gains - 5.00 fixed - 260.00 paid - 80 km x 0.50 = 40.00  ->  145.00
# Without J3: 350 - 5 - (40 + 120) - 20 = 165.00: better, J3 costs 40 min + 60 min + $20 for $100.
# Only J1: 200 - 5 - 80 - 10 = 105.00.  With J4 instead of J3: 390 - 5 - 310 - 6 overtime - 80 < 0.
BEST_CENTS = 16_500.0
ALL_THREE_CENTS = 14_500.0


def test_the_best_plan_is_the_one_found_by_hand() -> None:
    """J1 and J2 are done, $165.00; the exact search over everything agrees."""
    problem = parse_problem(four_stop_day())
    plan = solve(problem, stop=RoundLimit(50))
    assert best_value(problem) == BEST_CENTS
    assert plan.value_cents == BEST_CENTS
    assert [set(route.job_ids) for route in plan.routes] == [{"J1", "J2"}]
    assert {entry.job: entry.reason for entry in plan.left_out} == {
        "J3": "not_worth_a_slot",
        "J4": "not_worth_a_slot",
    }


def test_times_of_a_given_order() -> None:
    """J1 10-70, J2 80-140, break, J3; the break comes as early as it may, before the drive."""
    route = schedule_route(parse_problem(four_stop_day()), "A", ["J1", "J2", "J3"])
    assert isinstance(route, RoutePlan)
    assert [(stop.start, stop.finish) for stop in route.stops] == [(10, 70), (80, 140), (190, 250)]
    assert (route.leave, route.back, route.break_start) == (0, 290, 140)
    assert (route.paid_minutes, route.drive_minutes, route.drive_metres) == (260, 80, 80_000)
    assert route.value_cents == ALL_THREE_CENTS


def test_overtime_and_the_judge_agree_by_hand() -> None:
    """All four: 160 driving + 210 on site = 370 paid, 70 over: 490 - 5 - 370 - 42 - 80 = -7.00."""
    problem = parse_problem(four_stop_day())
    route = schedule_route(problem, "A", ["J1", "J2", "J3", "J4"])
    assert isinstance(route, RoutePlan)
    assert route.value_cents == -700.0
    judged = evaluate(problem, Plan("feasible", -700.0, 0.0, 700.0, (route,), ()))
    assert judged.faults == ()
    assert judged.routes[0].overtime_minutes == 70


@pytest.mark.parametrize(
    ("order", "words", "job"),
    [
        (["J2", "J3", "J1"], "J1 cannot begin after 02:00; crew A gets there at 03:10", "J1"),
        (["J1", "J1"], "J1 is on the route twice", "J1"),
    ],
)
def test_a_broken_order_is_explained(order: list[str], words: str, job: str) -> None:
    """The first rule that cannot be kept is named in words, with the job."""
    assert schedule_route(parse_problem(four_stop_day()), "A", order) == Broken(words, job)


def test_skill_capacity_shift_break_fixed_and_drive_are_explained() -> None:
    """Each other kind of rule has its own sentence.

    J3 alone in a shift of 80 minutes: 40 + 60 + 40 = 140, past 120, so the break makes it 170 = 02:50.
    """
    data = four_stop_day()
    data["jobs"][1]["needs"] = ["roof"]
    data["jobs"][2]["uses"] = {"mix_litres": 90}
    data["jobs"][3]["crews"] = []
    data["drive_minutes"][3][4] = None
    problem = parse_problem(data)

    def words(*order: str) -> str:
        broken = schedule_route(problem, "A", order)
        assert isinstance(broken, Broken)
        return broken.reason

    assert words("J2") == "crew A lacks what J2 needs: roof"
    assert words("J1", "J3") == "with J3 the route uses 110 mix_litres, the crew carries 100"
    assert words("J4") == "J4 may only be done by crew (none)"
    data["jobs"][3].pop("crews")
    problem = parse_problem(data)
    assert words("J3", "J4").startswith("with J4 the route uses 110 mix_litres")
    data["jobs"][2]["uses"] = {}
    problem = parse_problem(data)
    assert words("J3", "J4") == "there is no drive from p3 to p4"
    data["crews"][0]["shift"] = [0, 80]
    problem = parse_problem(data)
    assert words("J3") == "crew A would be back at 02:50, after its shift's end at 01:20"
    data["crews"][0].update({"shift": [0, 480], "break": {"minutes": 30, "window": [50, 60]}})
    data["jobs"][0]["windows"] = [[0, 45]]
    problem = parse_problem(data)
    assert words("J1", "J3") == "crew A cannot begin its 30-minute break between 00:50 and 01:00"
    data["fixed"] = {"A": ["J3"]}
    problem = parse_problem(data)
    assert words("J1") == "J3 is fixed as stop 1 of crew A"


def test_waiting_is_done_at_the_yard_not_at_the_first_stop() -> None:
    """The crew leaves late enough to begin on arrival; its paid time still runs from the shift."""
    data = four_stop_day()
    data["jobs"][0]["windows"] = [[100, 120]]
    route = schedule_route(parse_problem(data), "A", ["J1"])
    assert isinstance(route, RoutePlan)
    assert route.leave == 90
    assert route.stops[0] == Stop("J1", 100, 100, 160)
    assert route.paid_minutes == 170
