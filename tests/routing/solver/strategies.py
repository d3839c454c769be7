"""Random small days with every feature of the contract, for Hypothesis."""

import itertools
from typing import Any

from hypothesis import strategies as st

from routing.solver import Problem, parse_problem

SKILLS = ("roof", "lift")
KINDS = ("mix_litres", "rinse_litres")
HORIZON = 240


@st.composite
def day_problems(draw: st.DrawFn, max_jobs: int = 5, max_crews: int = 3) -> Problem:
    """A day with up to `max_jobs` jobs and `max_crews` crews; places, tables, rules at random."""
    return parse_problem(draw(day_problem_data(max_jobs, max_crews)))


@st.composite
def day_problem_data(draw: st.DrawFn, max_jobs: int = 5, max_crews: int = 3) -> dict[str, Any]:
    """The same as decoded JSON."""
    place_count = draw(st.integers(1, 5))
    job_ids = [f"J{i + 1}" for i in range(draw(st.integers(0, max_jobs)))]
    crew_ids = ["A", "B", "C", "D"][: draw(st.integers(1, max_crews))]
    places = [f"p{i}" for i in range(place_count)]
    gap = draw(st.sampled_from([0, 0, 0, 1]))
    return {
        "format": "day-problem/1",
        "places": places,
        "drive_minutes": draw(_table(place_count, 45, gap)),
        "drive_metres": draw(_table(place_count, 30_000, 0)),
        "crews": [draw(_crews(crew_id, places)) for crew_id in crew_ids],
        "jobs": [draw(_jobs(job_id, places, crew_ids)) for job_id in job_ids],
        "fixed": draw(_fixed(job_ids, crew_ids)),
        "reserve_cents_per_crew_hour": draw(st.sampled_from([0, 0, 3000, 7001])),
    }


def _table(size: int, most: int, gap: int) -> st.SearchStrategy[list[list[int | None]]]:
    cell: st.SearchStrategy[int | None] = st.integers(0, most)
    if gap:
        cell = st.one_of(cell, cell, cell, st.none())
    rows = st.lists(st.lists(cell, min_size=size, max_size=size), min_size=size, max_size=size)
    return rows.map(lambda table: [_zero_diagonal(row, i) for i, row in enumerate(table)])


def _zero_diagonal(row: list[int | None], i: int) -> list[int | None]:
    return [0 if column == i else cell for column, cell in enumerate(row)]


@st.composite
def _crews(draw: st.DrawFn, crew_id: str, places: list[str]) -> dict[str, Any]:
    start = draw(st.integers(-30, 60))
    crew: dict[str, Any] = {
        "id": crew_id,
        "start": draw(st.sampled_from(places)),
        "end": draw(st.sampled_from(places)),
        "shift": [start, start + draw(st.integers(0, HORIZON))],
        "skills": draw(st.lists(st.sampled_from(SKILLS), unique=True)),
        "cents_per_minute": draw(st.integers(0, 60)),
        "cents_per_km": draw(st.integers(0, 99)),
        "fixed_cents": draw(st.sampled_from([0, 0, 500])),
    }
    if draw(st.booleans()):
        after = draw(st.integers(0, HORIZON))
        crew["overtime"] = {"after_minutes": after, "extra_cents_per_minute": draw(st.integers(0, 50))}
    if draw(st.booleans()):
        crew["break"] = draw(_breaks(start))
    if draw(st.booleans()):
        crew["capacity"] = draw(st.dictionaries(st.sampled_from(KINDS), st.integers(0, 100)))
    if draw(st.booleans()):
        crew["pace_percent"] = draw(st.integers(50, 150))
    return crew


@st.composite
def _breaks(draw: st.DrawFn, shift_start: int) -> dict[str, Any]:
    opens = shift_start + draw(st.integers(-10, 150))
    return {
        "minutes": draw(st.integers(0, 40)),
        "window": [opens, opens + draw(st.integers(0, 60))],
        "paid": draw(st.booleans()),
    }


@st.composite
def _jobs(draw: st.DrawFn, job_id: str, places: list[str], crew_ids: list[str]) -> dict[str, Any]:
    job: dict[str, Any] = {
        "id": job_id,
        "place": draw(st.sampled_from(places)),
        "on_site_minutes": draw(st.integers(0, 90)),
        "windows": draw(st.lists(_windows(), min_size=1, max_size=3)),
        "gain_cents": draw(st.integers(-500, 6000)),
        "needs": draw(st.lists(st.sampled_from(SKILLS), max_size=1)),
        "uses": draw(st.dictionaries(st.sampled_from(KINDS), st.integers(0, 60), max_size=2)),
        "must_do": draw(st.sampled_from([False, False, False, False, True])),
    }
    if draw(st.sampled_from([False, False, True])):
        job["crews"] = draw(st.lists(st.sampled_from(crew_ids), unique=True))
    if draw(st.sampled_from([False, False, True])):
        job["prefer"] = {"crew": draw(st.sampled_from(crew_ids)), "cents": draw(st.integers(0, 900))}
    return job


def _windows() -> st.SearchStrategy[list[int]]:
    whole = st.just([-50, 400])
    part = st.tuples(st.integers(-20, 250), st.integers(0, 120)).map(lambda w: [w[0], w[0] + w[1]])
    return st.one_of(whole, part)


@st.composite
def _fixed(draw: st.DrawFn, job_ids: list[str], crew_ids: list[str]) -> dict[str, list[str]]:
    if not job_ids or not draw(st.sampled_from([False, False, False, True])):
        return {}
    order = draw(st.lists(st.sampled_from(job_ids), unique=True, max_size=2))
    return {draw(st.sampled_from(crew_ids)): order}


@st.composite
def promising_days(draw: st.DrawFn, max_jobs: int = 5) -> Problem:
    """Days of mostly promised jobs; on some no detour is quicker than the direct drive, as on most real tables."""
    data = draw(day_problem_data(max_jobs, max_crews=2))
    for job in data["jobs"]:
        job["must_do"] = draw(st.sampled_from([True, True, False]))
        if draw(st.booleans()):
            job["needs"] = []
    if draw(st.booleans()):
        _close(data["drive_minutes"])
    return parse_problem(data)


def _close(table: list[list[int | None]]) -> None:
    """Each drive no longer than any detour (Floyd and Warshall)."""
    for via, there, back in itertools.product(range(len(table)), repeat=3):
        first, second, direct = table[there][via], table[via][back], table[there][back]
        if first is not None and second is not None and (direct is None or first + second < direct):
            table[there][back] = first + second
