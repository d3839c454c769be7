"""The problem as arrays: indices instead of ids, ticks instead of cents, one clock from zero.

Jobs and crews keep their order in the problem. Money is in ticks (see `money`). Minutes are shifted
so that the earliest shift begins at 0. A drive that is never made takes NEVER minutes, which is
later than every shift's end.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from .money import TICKS_PER_CENT, minute_ticks
from .problem import Crew, Problem, Window, may_do

NEVER = 10**12
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True)
class Model:
    """Read-only arrays; j = job, k = crew, p = place, w = window, r = kind of capacity."""

    problem: Problem
    zero: int
    """The problem's minute that is minute 0 here."""
    minutes: Ints
    """[p, p] drive minutes, NEVER where it is not driven."""
    metres: Ints
    """[p, p] drive metres, 0 where it is not driven."""
    job_place: Ints
    window_open: Ints
    """[j, w] sorted, not overlapping; unused columns never open."""
    window_close: Ints
    uses: Ints
    """[j, r]"""
    capacity: Ints
    """[k, r]"""
    allowed: Flags
    """[k, j] the crew may do the job (a fixed job: only its own crew)."""
    service: Ints
    """[k, j] on-site minutes of this crew."""
    gain: Ints
    """[k, j] ticks earned with the job, bonus included."""
    crew: Ints
    """[k, column] the columns are named below."""
    prefix: tuple[tuple[int, ...], ...]
    """Fixed first jobs of each crew."""

    @property
    def job_count(self) -> int:
        return len(self.problem.jobs)

    @property
    def crew_count(self) -> int:
        return len(self.problem.crews)

    @cached_property
    def must_do(self) -> Flags:
        """Jobs that every plan holds: promised, or fixed to a crew."""
        fixed = {job for jobs in self.prefix for job in jobs}
        return np.array([job.must_do or j in fixed for j, job in enumerate(self.problem.jobs)], bool)

    @cached_property
    def index_of_job(self) -> dict[str, int]:
        return {job.id: index for index, job in enumerate(self.problem.jobs)}

    def ids(self, jobs: Sequence[int]) -> tuple[str, ...]:
        return tuple(self.problem.jobs[job].id for job in jobs)


CREW_COLUMNS = 14
(
    START,
    END,
    SHIFT_START,
    SHIFT_END,
    MINUTE_TICKS,
    METRE_TICKS,
    FIXED_TICKS,
    OVERTIME_AFTER,
    OVERTIME_TICKS,
    BREAK_MINUTES,
    BREAK_OPEN,
    BREAK_CLOSE,
    BREAK_UNPAID,
    PREFIX_LENGTH,
) = range(CREW_COLUMNS)


def build_model(problem: Problem) -> Model:
    """Arrays of a valid problem."""
    zero = min((crew.shift[0] for crew in problem.crews), default=0)
    windows = [_merged(job.windows, zero) for job in problem.jobs]
    kinds = sorted({kind for crew in problem.crews for kind in crew.capacity})
    index = {job.id: j for j, job in enumerate(problem.jobs)}
    prefix = [tuple(index[job] for job in problem.fixed.get(crew.id, ())) for crew in problem.crews]
    minutes, metres = _tables(problem)
    return Model(
        problem=problem,
        zero=zero,
        minutes=minutes,
        metres=metres,
        job_place=_ints([problem.place_index[job.place] for job in problem.jobs]),
        window_open=_padded(windows, 0),
        window_close=_padded(windows, 1),
        uses=_grid(problem.jobs, kinds, lambda job, kind: job.uses.get(kind, 0)),
        capacity=_grid(problem.crews, kinds, lambda crew, kind: crew.capacity.get(kind, NEVER)),
        allowed=_grid(problem.crews, problem.jobs, lambda c, j: may_do(problem, c, j)).astype(bool),
        service=_grid(problem.crews, problem.jobs, lambda c, j: c.on_site_minutes(j.on_site_minutes)),
        gain=_grid(problem.crews, problem.jobs, lambda c, j: j.gain_with(c.id) * TICKS_PER_CENT),
        crew=_ints([_crew_row(problem, crew, zero, p) for crew, p in zip(problem.crews, prefix, strict=True)]).reshape(
            -1, CREW_COLUMNS
        ),
        prefix=tuple(prefix),
    )


def _ints(values: object) -> Ints:
    return np.array(values, dtype=np.int64)


def _grid(rows: Sequence, columns: Sequence, cell: object) -> Ints:  # type: ignore[type-arg]
    values = [[cell(row, column) for column in columns] for row in rows]  # type: ignore[operator]
    return _ints(values).reshape(len(rows), len(columns))


def _tables(problem: Problem) -> tuple[Ints, Ints]:
    size = len(problem.places)
    minutes, metres = np.full((size, size), NEVER, np.int64), np.zeros((size, size), np.int64)
    for p in range(size):
        pairs = zip(problem.drive_minutes[p], problem.drive_metres[p], strict=True)
        for q, (minute, metre) in enumerate(pairs):
            if minute is not None and metre is not None:
                minutes[p, q], metres[p, q] = minute, metre
    return minutes, metres


def _merged(windows: Sequence[Window], zero: int) -> list[Window]:
    """Sorted windows without overlaps; touching ones become one."""
    merged: list[Window] = []
    for opens, closes in sorted((a - zero, b - zero) for a, b in windows):
        if merged and opens <= merged[-1][1] + 1:
            merged[-1] = (merged[-1][0], max(merged[-1][1], closes))
        else:
            merged.append((opens, closes))
    return merged


def _padded(windows: Sequence[Sequence[Window]], side: int) -> Ints:
    width = max((len(row) for row in windows), default=1)
    unused = (NEVER, -NEVER)[side]
    rows = [[w[side] for w in row] + [unused] * (width - len(row)) for row in windows]
    return _ints(rows).reshape(len(windows), width)


def _crew_row(problem: Problem, crew: Crew, zero: int, prefix: Sequence[int]) -> list[int]:
    rest, overtime = crew.rest, crew.overtime
    return [
        problem.place_index[crew.start],
        problem.place_index[crew.end],
        crew.shift[0] - zero,
        crew.shift[1] - zero,
        minute_ticks(crew, problem.reserve_cents_per_crew_hour),
        crew.cents_per_km * 3,
        crew.fixed_cents * TICKS_PER_CENT,
        overtime.after_minutes if overtime else NEVER,
        overtime.extra_cents_per_minute * TICKS_PER_CENT if overtime else 0,
        rest.minutes if rest else 0,
        rest.window[0] - zero if rest else NEVER,
        rest.window[1] - zero if rest else -NEVER,
        rest.minutes if rest and not rest.paid else 0,
        len(prefix),
    ]
