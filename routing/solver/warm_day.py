"""A small day that makes every compiled function run once."""

from .optimiser import Optimiser
from .params import Params
from .problem import Break, Crew, Job, Overtime, Problem
from .solve import prepared
from .stopping import RoundLimit


def solve_everything_once() -> None:
    """Solve a day with two crews, a break, overtime, capacity and fixed stops."""
    model, routes = prepared(_day())
    watch = RoundLimit(3).started()
    optimiser = Optimiser(model, routes, 1, Params(), watch)
    optimiser.run(lambda: None)


def _day() -> Problem:
    places = tuple(f"p{i}" for i in range(9))
    minutes = tuple(tuple(abs(a - b) * 7 for b in range(9)) for a in range(9))
    jobs = [Job(f"J{i}", f"p{i % 9}", 40, ((0, 400),), 4_000 + 900 * i, uses={"mix": 10}) for i in range(1, 13)]
    rest, overtime = Break(30, (120, 200)), Overtime(300, 50)
    crews = tuple(Crew(name, "p0", "p0", (0, 400), 50, 40, 0, (), overtime, rest, {"mix": 60}) for name in "AB")
    return Problem(places, minutes, minutes, crews, tuple(jobs), {"B": ("J3",)})
