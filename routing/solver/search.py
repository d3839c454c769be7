"""Searching for better routes, with every good route on the way kept for the exact method."""

from collections.abc import Sequence

import numpy as np

from .compiled import Day
from .construct import Routes
from .model import Ints, Model
from .search_kernel import State, anneal, refresh

MOST_NEAR = 100
MOST_STOPS = 200
ROWS = 4000

FoundRoute = tuple[int, tuple[int, ...], int]
"""(crew, jobs in order, ticks)"""


class Search:
    """An annealing run that can be continued; `best_routes` only ever gets better.

    `day.gain` carries a high bonus for each promise, so that keeping promises comes before money.
    """

    def __init__(self, model: Model, day: Day, routes: Routes, seed: int):
        self._model, self._day, self._seed = model, day, seed
        self._near = _near(model)
        self._state, self._saved, self._best, self._probe = (_empty(model) for _ in range(4))
        self._found = np.empty((ROWS, self._state.stops.shape[1] + 3), np.int64)
        self._calls = 0
        self.restart(routes)

    def restart(self, routes: Routes) -> None:
        """Continue from these routes; they become the best ones if they are."""
        _load(self._day, self._state, routes)
        if self._state.value.sum() >= self._best.value.sum() or not self._calls:
            _load(self._day, self._best, routes)

    def run(self, steps: int, temperature: float) -> list[FoundRoute]:
        """Make so many steps at a temperature in ticks; routes met on the way, without repeats."""
        self._calls += 1
        rows = anneal(
            self._day,
            self._state,
            self._saved,
            self._best,
            self._near,
            self._seed * 1_000_003 % 2**31 + self._calls,
            steps,
            temperature,
            self._found,
        )
        return sorted({(row[0], tuple(row[3 : 3 + row[1]]), row[2]) for row in self._found[:rows].tolist()})

    def route_ticks(self, crew: int, route: Sequence[int]) -> int:
        """Exact worth of a route that keeps its times, promise bonuses included."""
        probe = self._probe
        probe.stops[crew, : len(route)] = route
        probe.length[crew] = len(route)
        assert refresh(self._day, probe, crew), f"crew {crew} cannot keep the route {route}"
        return int(probe.value[crew])

    @property
    def best_value(self) -> int:
        """Ticks, promise bonuses included."""
        return int(self._best.value.sum())

    @property
    def best_routes(self) -> Routes:
        return [row[:length].tolist() for row, length in zip(self._best.stops, self._best.length, strict=True)]


def _near(model: Model) -> Ints:
    """[j, n] jobs by drive time there and back, the job itself first."""
    places = model.job_place
    drive = model.minutes[np.ix_(places, places)]
    both = drive + drive.T
    np.fill_diagonal(both, -1)
    order = np.argsort(both, axis=1, kind="stable")
    return np.ascontiguousarray(order[:, :MOST_NEAR]).astype(np.int64)


def _empty(model: Model) -> State:
    crews, width = model.crew_count, min(model.job_count, MOST_STOPS) + 2
    table = (crews, width)
    return State(
        stops=np.zeros(table, np.int64),
        length=np.zeros(crews, np.int64),
        fresh=np.zeros(table, np.int64),
        rested=np.zeros(table, np.int64),
        load=np.zeros((crews, model.capacity.shape[1]), np.int64),
        paid=np.zeros(crews, np.int64),
        idle=np.zeros(crews, np.int64),
        value=np.zeros(crews, np.int64),
        where=np.full(model.job_count, -1, np.int64),
    )


def _load(day: Day, state: State, routes: Sequence[Sequence[int]]) -> None:
    state.where[:] = -1
    for k, route in enumerate(routes):
        state.stops[k, : len(route)] = route
        state.length[k] = len(route)
        state.where[list(route)] = k
        assert refresh(day, state, k), f"crew {k} cannot keep the route {route}"
