"""The linear program over the routes known so far, for prices; and the same in whole routes.

Columns are routes; each job is done at most once, each class of crews has at most its size in
routes. Money goes in as dollars: in cents the simplex of OR-Tools was seen to end abnormally.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import Generic, Protocol, TypeVar

import numpy as np
from ortools.math_opt.python import mathopt

from .model import Ints
from .money import TICKS_PER_CENT

TICKS_PER_DOLLAR = 100 * TICKS_PER_CENT
ALMOST_WHOLE = 0.8


@dataclass(frozen=True, slots=True)
class Column:
    """A route of a class: its jobs in order (a relaxed one may repeat jobs) and exact ticks."""

    group: int
    jobs: tuple[int, ...]
    ticks: int

    @property
    def elementary(self) -> bool:
        return len(set(self.jobs)) == len(self.jobs)


@dataclass(frozen=True, slots=True)
class Prices:
    """Whole ticks: what a job or a crew of a class is worth to the linear program."""

    jobs: Ints
    groups: Ints
    cuts: Ints
    """In the order of `Master.cuts`."""
    total_ticks: float
    used: tuple[tuple[int, float], ...]
    """(column, share) of the columns in the solution."""


def largest_shares(shares: Mapping[int, float]) -> list[int]:
    """The columns to make whole next: those in the solution almost whole, else the one with the largest share."""
    sure = [i for i, share in shares.items() if share >= ALMOST_WHOLE]
    return sure or sorted(shares, key=lambda i: (-round(shares[i], 6), i))[:1]


class NoPrices(RuntimeError):
    """No linear programming engine gave an optimum."""


class RowCut(Protocol):
    """A row of the linear program that every choice of whole routes keeps."""

    @property
    def most(self) -> int:
        """How much all routes of a plan may use up together."""

    def share(self, route: Sequence[int]) -> int:
        """How much a route uses up."""


AnyCut = TypeVar("AnyCut", bound=RowCut)


class Master(Generic[AnyCut]):
    """The linear program, growing by columns and cuts."""

    def __init__(self, job_count: int, sizes: Sequence[int]):
        self._model = mathopt.Model()
        self._jobs = [self._model.add_linear_constraint(ub=1.0) for _ in range(job_count)]
        self._groups = [self._model.add_linear_constraint(ub=float(size)) for size in sizes]
        self._model.objective.is_maximize = True
        self._columns: list[mathopt.Variable] = []
        self.routes: list[tuple[int, ...]] = []
        self._whole: list[int] = []
        self._cuts: list[tuple[AnyCut, mathopt.LinearConstraint]] = []
        self._cut_prices: Ints = np.zeros(0, np.int64)
        self._engine = self._fresh_engine()

    def _fresh_engine(self) -> mathopt.IncrementalSolver:
        return mathopt.IncrementalSolver(self._model, mathopt.SolverType.GLOP)

    def add(self, column: Column) -> None:
        variable = self._model.add_variable(lb=0.0)
        self._model.objective.set_linear_coefficient(variable, column.ticks / TICKS_PER_DOLLAR)
        self._groups[column.group].set_coefficient(variable, 1.0)
        for job in set(column.jobs):
            self._jobs[job].set_coefficient(variable, float(column.jobs.count(job)))
        for cut, row in self._cuts:
            if share := cut.share(column.jobs):
                row.set_coefficient(variable, float(share))
        self._columns.append(variable)
        self.routes.append(column.jobs)

    @property
    def cuts(self) -> list[AnyCut]:
        """The cuts in force."""
        return [cut for cut, _ in self._cuts]

    def cut(self, cut: AnyCut) -> None:
        row = self._model.add_linear_constraint(ub=float(cut.most))
        for variable, route in zip(self._columns, self.routes, strict=True):
            if share := cut.share(route):
                row.set_coefficient(variable, float(share))
        self._cuts.append((cut, row))

    def drop_idle_cuts(self) -> None:
        """Take out the cuts that had no price last time."""
        for (_, row), price in zip(self._cuts, self._cut_prices, strict=True):
            if not price:
                self._model.delete_linear_constraint(row)
        self._cuts = [entry for entry, price in zip(self._cuts, self._cut_prices, strict=True) if price]

    def fix(self, index: int) -> None:
        """Take a column whole into the solution, until `release`."""
        self._columns[index].lower_bound = 1.0
        self._whole.append(index)

    def release(self) -> None:
        """Fix no column any more."""
        for index in self._whole:
            self._columns[index].lower_bound = 0.0
        self._whole.clear()

    def switch_off(self, index: int) -> None:
        """Take a column out of the program for good."""
        self._columns[index].upper_bound = 0.0

    def prices(self) -> Prices:
        """Optimal prices. Raises NoPrices where neither engine ends with an optimum."""
        result = self._solved()
        if result is None or result.termination.reason != mathopt.TerminationReason.OPTIMAL:
            result = mathopt.solve(self._model, mathopt.SolverType.HIGHS)
        if result.termination.reason != mathopt.TerminationReason.OPTIMAL:
            raise NoPrices(str(result.termination))
        values = result.variable_values(self._columns)
        self._cut_prices = _whole_ticks(result.dual_values([row for _, row in self._cuts]))
        return Prices(
            _whole_ticks(result.dual_values(self._jobs)),
            _whole_ticks(result.dual_values(self._groups)),
            self._cut_prices,
            result.objective_value() * TICKS_PER_DOLLAR,
            tuple((i, value) for i, value in enumerate(values) if value > 1e-7),
        )

    def _solved(self) -> mathopt.SolveResult | None:
        """What GLOP says; None where it ends abnormally, for which MathOpt 9.15 raises an AttributeError."""
        try:
            return self._engine.solve()
        except (AttributeError, RuntimeError):
            self._engine = self._fresh_engine()
            return None


def _whole_ticks(dollars: Sequence[float]) -> Ints:
    ticks: Ints = np.rint(np.array(dollars, float) * TICKS_PER_DOLLAR).astype(np.int64)
    return np.maximum(ticks, 0)


@dataclass(frozen=True, slots=True)
class Packing:
    """Whole routes chosen among columns."""

    chosen: tuple[int, ...]
    bound_ticks: int
    """No choice among these columns is worth more."""
    complete: bool
    """Whether the engine proved its choice the best."""


def pack(
    columns: Sequence[Column],
    sizes: Sequence[int],
    *,
    cuts: Sequence[tuple[Ints, int]] = (),
    above: int | None = None,
    seconds: float = float("inf"),
    nodes: int | None = None,
) -> Packing | None:
    """The best choice of whole routes, or None where the engine found none in time.

    `cuts`: how much each column uses up of a cut that no choice of whole routes breaks, and how much all may. Where
    only choices worth more than `above` ticks count, it is soon proved that there are none.
    """
    model = mathopt.Model()
    model.objective.is_maximize = True
    variables = [model.add_binary_variable() for _ in columns]
    rows: dict[int, list[int]] = {}
    for index, column in enumerate(columns):
        scale = column.ticks / TICKS_PER_DOLLAR
        model.objective.set_linear_coefficient(variables[index], scale)
        for job in column.jobs:
            rows.setdefault(job, []).append(index)
        rows.setdefault(-1 - column.group, []).append(index)
    for row, members in rows.items():
        most = 1 if row >= 0 else sizes[-1 - row]
        if len(members) > most:
            model.add_linear_constraint(mathopt.fast_sum(variables[i] for i in members) <= most)
    for share, most in cuts:
        users = np.flatnonzero(share).tolist()
        model.add_linear_constraint(mathopt.fast_sum(int(share[i]) * variables[i] for i in users) <= most)
    if above is not None:
        least = above / TICKS_PER_DOLLAR
        # Somewhat less, so that no choice is lost by the engine's tolerance.
        model.add_linear_constraint(model.objective.as_linear_expression() >= least - 1e-4 - 1e-9 * abs(least))
    result = _solve_whole(model, seconds, nodes)
    if above is not None and result.termination.reason == mathopt.TerminationReason.INFEASIBLE:
        return Packing((), above, True)
    if not result.has_primal_feasible_solution():
        return None
    values = result.variable_values(variables)
    chosen = tuple(i for i, value in enumerate(values) if value > 0.5)
    total = sum(columns[i].ticks for i in chosen)
    complete = result.termination.reason == mathopt.TerminationReason.OPTIMAL
    bound = result.termination.objective_bounds.dual_bound * TICKS_PER_DOLLAR
    limit = total if complete else max(total, int(min(bound, 1e18)) + 1)
    return Packing(chosen, limit, complete)


def _solve_whole(model: mathopt.Model, seconds: float, nodes: int | None) -> mathopt.SolveResult:
    parameters = mathopt.SolveParameters(random_seed=1, relative_gap_tolerance=1e-9)
    parameters.absolute_gap_tolerance = 1e-6
    if seconds < float("inf"):
        parameters.time_limit = timedelta(seconds=max(0.01, seconds))
    if nodes is not None:
        parameters.node_limit = nodes
    return mathopt.solve(model, mathopt.SolverType.HIGHS, params=parameters)
