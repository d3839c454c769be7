"""Days of the trade for the solver's benchmark, invented with a fixed seed, every feature mixed."""

import math
import random
from dataclasses import dataclass
from typing import Any

METRES_ACROSS = 24_000
CIRCUITY = 1.3  # straight line to road: a round figure for the benchmark only
METRES_PER_MINUTE = 700
STOP_AND_GO_MINUTES = 2


@dataclass(frozen=True, slots=True)
class DayKind:
    """`dense` days have short stops, `days` makes a week: one crew-day per crew and day."""

    name: str
    jobs: int
    crews: int
    seed: int
    dense: bool = False
    breaks: bool = True
    plain: bool = False
    days: int = 1


def realistic_day(kind: DayKind) -> dict[str, Any]:
    """A `day-problem/1` of this kind; the same kind gives the same day."""
    rng = random.Random(kind.seed * 1000 + kind.jobs)
    points = _points(rng, kind.jobs)
    metres = [[int(CIRCUITY * math.dist(a, b)) for b in points] for a in points]
    minutes = [
        [0 if i == j else STOP_AND_GO_MINUTES + round(cell / METRES_PER_MINUTE) for j, cell in enumerate(row)]
        for i, row in enumerate(metres)
    ]
    base = [_crew(rng, kind, k) for k in range(kind.crews)]
    crews = [_on_day(crew, day) for day in range(kind.days) for crew in base]
    return {
        "format": "day-problem/1",
        "places": [f"p{i}" for i in range(len(points))],
        "drive_minutes": minutes,
        "drive_metres": metres,
        "crews": crews,
        "jobs": [_job(rng, kind, j, crews) for j in range(kind.jobs)],
        "fixed": {},
        "reserve_cents_per_crew_hour": rng.choice([0, 6000, 9000]),
    }


def _points(rng: random.Random, count: int) -> list[tuple[float, float]]:
    """The yard, then jobs in a few neighbourhoods and some farther out."""
    middle = METRES_ACROSS / 2
    centres = [(rng.uniform(0, METRES_ACROSS), rng.uniform(0, METRES_ACROSS)) for _ in range(6)]
    points = [(middle, middle)]
    for _ in range(count):
        if rng.random() < 0.25:
            points.append((rng.uniform(0, METRES_ACROSS), rng.uniform(0, METRES_ACROSS)))
        else:
            x, y = rng.choice(centres)
            points.append((rng.gauss(x, 1500), rng.gauss(y, 1500)))
    return points


def _crew(rng: random.Random, kind: DayKind, k: int) -> dict[str, Any]:
    start = rng.choice([0, 0, 30])
    crew: dict[str, Any] = {
        "id": f"C{k}",
        "start": "p0",
        "end": "p0",
        "shift": [start, start + rng.choice([540, 600])],
        "skills": [skill for skill in ("roof", "lift") if rng.random() < 0.6],
        "cents_per_minute": rng.choice([85, 97, 110]),
        "cents_per_km": 45,
        "fixed_cents": rng.choice([0, 1500]),
    }
    if kind.plain:
        return crew
    crew["overtime"] = {"after_minutes": 480, "extra_cents_per_minute": 48}
    crew["capacity"] = {"mix_litres": 500}
    crew["pace_percent"] = rng.choice([100, 100, 90, 115])
    if kind.breaks:
        crew["break"] = {"minutes": 30, "window": [start + 210, start + 330], "paid": rng.random() < 0.3}
    return crew


def _on_day(crew: dict[str, Any], day: int) -> dict[str, Any]:
    if day == 0:
        return crew
    shift = day * 1440
    moved = {**crew, "id": f"{crew['id']}-{day}", "shift": [t + shift for t in crew["shift"]]}
    if "break" in crew:
        moved["break"] = {**crew["break"], "window": [t + shift for t in crew["break"]["window"]]}
    return moved


def _job(rng: random.Random, kind: DayKind, j: int, crews: list[dict[str, Any]]) -> dict[str, Any]:
    minutes = rng.choice([20, 25, 30, 40, 45]) if kind.dense else rng.choice([45, 60, 75, 90, 120, 150, 210])
    day = rng.choices([[[0, 600]], [[0, 240]], [[240, 540]], [[60, 150], [330, 480]]], [6, 2, 2, 1])[0]
    days = range(kind.days) if kind.days == 1 else sorted(rng.sample(range(kind.days), rng.randint(1, 3)))
    job: dict[str, Any] = {
        "id": f"J{j}",
        "place": f"p{j + 1}",
        "on_site_minutes": minutes,
        "windows": [[a + 1440 * d, b + 1440 * d] for d in days for a, b in day],
        "gain_cents": int(minutes * rng.uniform(170, 420)),
    }
    if kind.plain:
        return job
    if rng.random() < 0.2:
        job["needs"] = [rng.choice(["roof", "lift"])]
    job["uses"] = {"mix_litres": rng.randint(10, 90) * minutes // 100}
    job["must_do"] = rng.random() < 0.04 and "needs" not in job and len(day) == 1
    if rng.random() < 0.1:
        job["prefer"] = {"crew": rng.choice(crews)["id"], "cents": 1500}
    return job
