"""Small days that can be worked out by hand, as decoded JSON."""

import copy
from typing import Any

LINE_MINUTES = [[abs(a - b) for b in (0, 10, 20, 40, 80)] for a in (0, 10, 20, 40, 80)]


def four_stop_day() -> dict[str, Any]:
    """One crew, four stops on a straight road 10, 20, 40 and 80 minutes from the yard.

    Crew A: 0-480, $1 a minute, 50 cents a km, 1 km a minute, overtime 60 cents more after 300 paid
    minutes, an unpaid break of 30 minutes that begins between 120 and 200.

    | job | at | minutes | gain | |
    |---|---|---|---|---|
    | J1 | 10 | 60 | $200 | begins 0-120 |
    | J2 | 20 | 60 | $150 | |
    | J3 | 40 | 60 | $100 | needs the lift, which the crew has |
    | J4 | 80 | 30 | $40 | driving out to it costs more than it brings |
    """
    return {
        "format": "day-problem/1",
        "places": ["yard", "p1", "p2", "p3", "p4"],
        "drive_minutes": copy.deepcopy(LINE_MINUTES),
        "drive_metres": [[1000 * minutes for minutes in row] for row in LINE_MINUTES],
        "crews": [
            {
                "id": "A",
                "start": "yard",
                "end": "yard",
                "shift": [0, 480],
                "skills": ["lift"],
                "cents_per_minute": 100,
                "cents_per_km": 50,
                "fixed_cents": 500,
                "overtime": {"after_minutes": 300, "extra_cents_per_minute": 60},
                "break": {"minutes": 30, "window": [120, 200], "paid": False},
                "capacity": {"mix_litres": 100},
            }
        ],
        "jobs": [
            _job("J1", "p1", 60, 20_000, windows=[[0, 120]]),
            _job("J2", "p2", 60, 15_000),
            _job("J3", "p3", 60, 10_000, needs=["lift"]),
            _job("J4", "p4", 30, 4_000),
        ],
        "fixed": {},
        "reserve_cents_per_crew_hour": 0,
    }


def _job(job_id: str, place: str, minutes: int, gain: int, **more: Any) -> dict[str, Any]:
    base = {"id": job_id, "place": place, "on_site_minutes": minutes, "gain_cents": gain}
    return {**base, "windows": [[0, 480]], "uses": {"mix_litres": 20}, **more}
