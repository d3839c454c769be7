"""Drive times from a routing server by URL: Valhalla's `sources_to_targets`, or OSRM's `table`.

What a server answers is believed only as far as it makes sense: a table of the asked shape, each cell a number of
seconds and metres that a drive can take, or null where nobody can drive. Whatever else happens raises ServerFailed, and
the caller asks another source for the whole table: one plan never mixes sources.

Requests and answers: valhalla.github.io/valhalla/api/matrix/api-reference, project-osrm.org/docs, "table" service.
"""

import math
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import requests
from requests.adapters import HTTPAdapter
from urllib3.util import Retry

from routing.roads.domain import NO_STREET, NO_WAY_BACK, NO_WAY_TO, Cells, DriveTable, Point, Unreachable
from routing.roads.errors import ServerFailed

CONNECT_SECONDS, ANSWER_SECONDS, ALL_SECONDS = 2.0, 8.0, 25.0
AT_ONCE = 50  # sources by as many targets in one request: 2,500 pairs, the least that any server's limit allows
SNAP_METRES = 300
LONGEST_SECONDS = 2 * 86_400
LONGEST_METRES = 3_000_000
ONCE_MORE = Retry(total=1, connect=1, read=0, status=1, status_forcelist=(502, 503), backoff_factor=0.2,
                  allowed_methods=("GET", "POST"), raise_on_status=False)  # fmt: skip

Block = tuple[list[list[Any]], list[list[Any]]]
"""Seconds and metres of some rows and columns, null where nobody can drive, as the server wrote them."""
Ask = Callable[[requests.Session, str, Sequence[Point], Sequence[Point], float], Block]


@dataclass(frozen=True)
class RoadServer:
    """A routing server. `kind` is valhalla or osrm, `url` its address without a path of its own."""

    kind: str
    url: str
    clock: Callable[[], float] = time.monotonic
    all_seconds: float = ALL_SECONDS

    def table(self, points: Sequence[Point]) -> DriveTable:
        """Raises ServerFailed where the server does not answer in time, or not with a table."""
        ask = ASK.get(self.kind)
        if ask is None:
            raise ServerFailed(f"{self.kind} is no kind of routing server; use {' or '.join(ASK)}.")
        seconds: list[list[Any]] = [[None] * len(points) for _ in points]
        metres: list[list[Any]] = [[None] * len(points) for _ in points]
        ends_at = self.clock() + self.all_seconds
        with _session() as session:
            for rows, columns in _blocks(len(points)):
                left = ends_at - self.clock()
                if left <= 0:
                    raise ServerFailed("The routing server is too slow.")
                part = self._block(ask, session, points[rows], points[columns], left)
                for row, (some_seconds, some_metres) in enumerate(zip(*part, strict=True), start=rows.start):
                    seconds[row][columns], metres[row][columns] = some_seconds, some_metres
        return _table(points, seconds, metres, f"routing server ({self.kind})")

    def _block(
        self, ask: Ask, session: requests.Session, sources: Sequence[Point], targets: Sequence[Point], left: float
    ) -> Block:
        shape = [len(targets)] * len(sources)
        try:
            found = ask(session, self.url.rstrip("/"), sources, targets, min(ANSWER_SECONDS, left))
            has_shape = all([len(row) for row in part] == shape for part in found)
        except requests.RequestException as error:
            raise ServerFailed(f"The routing server cannot be asked: {error}"[:300]) from error
        except (ValueError, TypeError, KeyError, IndexError, AttributeError) as error:
            raise ServerFailed("The routing server gave an answer that makes no sense.") from error
        if not has_shape:
            raise ServerFailed("The routing server gave a table of another shape.")
        return found


def _session() -> requests.Session:
    session = requests.Session()
    session.trust_env = False  # no proxies or credentials that the settings do not name
    for scheme in ("http://", "https://"):
        session.mount(scheme, HTTPAdapter(max_retries=ONCE_MORE))
    return session


def _blocks(count: int) -> Iterator[tuple[slice, slice]]:
    parts = [slice(start, min(start + AT_ONCE, count)) for start in range(0, count, AT_ONCE)]
    return ((rows, columns) for rows in parts for columns in parts)


def _ask_valhalla(
    session: requests.Session, url: str, sources: Sequence[Point], targets: Sequence[Point], seconds: float
) -> Block:
    body: Any = {
        "costing": "auto",
        "units": "kilometers",
        "verbose": True,
        "sources": [_location(point) for point in sources],
        "targets": [_location(point) for point in targets],
    }
    answer = session.post(f"{url}/sources_to_targets", json=body, timeout=(min(CONNECT_SECONDS, seconds), seconds))
    answer.raise_for_status()
    rows = answer.json()["sources_to_targets"]
    times = [[cell["time"] for cell in row] for row in rows]
    return times, [[_metres(cell["distance"]) for cell in row] for row in rows]


def _location(point: Point) -> dict[str, float]:
    """`radius` 0 takes the nearest street; farther than `search_cutoff` metres there is none."""
    return {"lat": point[0], "lon": point[1], "search_cutoff": SNAP_METRES, "minimum_reachability": 50}


def _metres(kilometres: Any) -> Any:
    return None if kilometres is None else kilometres * 1_000


def _ask_osrm(
    session: requests.Session, url: str, sources: Sequence[Point], targets: Sequence[Point], seconds: float
) -> Block:
    places = ";".join(f"{lon:.6f},{lat:.6f}" for lat, lon in (*sources, *targets))
    params = {
        "sources": ";".join(map(str, range(len(sources)))),
        "destinations": ";".join(map(str, range(len(sources), len(sources) + len(targets)))),
        "annotations": "duration,distance",
    }
    answer = session.get(
        f"{url}/table/v1/driving/{places}", params=params, timeout=(min(CONNECT_SECONDS, seconds), seconds)
    )
    answer.raise_for_status()
    body = answer.json()
    if body["code"] != "Ok":
        raise ValueError(body["code"])
    return body["durations"], body["distances"]


ASK: dict[str, Ask] = {"valhalla": _ask_valhalla, "osrm": _ask_osrm}


def _table(points: Sequence[Point], seconds: list[list[Any]], metres: list[list[Any]], source: str) -> DriveTable:
    minutes = _rounded(points, seconds, 60, LONGEST_SECONDS)
    whole_metres = _rounded(points, metres, 1, LONGEST_METRES)
    pairs = zip(minutes, whole_metres, strict=True)
    if any((a is None) != (b is None) for row, other in pairs for a, b in zip(row, other, strict=True)):
        raise ServerFailed("The routing server knows a time without a distance, or the other way round.")
    return DriveTable(minutes, whole_metres, source, _unreachable(minutes))


def _rounded(points: Sequence[Point], cells: list[list[Any]], unit: int, most: int) -> Cells:
    """Rounded up, at least 1 between two different places, as the tables of other sources are."""

    def whole(a: int, b: int) -> int | None:
        value = cells[a][b]
        if points[a] == points[b]:
            return 0
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, int | float) or not 0 <= value <= most:
            raise ServerFailed("The routing server gave a time or distance that no drive can have.")
        return max(1, math.ceil(value / unit))

    return tuple(tuple(whole(a, b) for b in range(len(points))) for a in range(len(points)))


def _unreachable(minutes: Cells) -> tuple[Unreachable, ...]:
    """Places that a crew from the first place cannot serve; the server does not say how near their street is."""
    found = []
    for place in range(1, len(minutes)):
        there, back = minutes[0][place], minutes[place][0]
        if there is None and back is None:
            found.append(Unreachable(place, NO_STREET))
        elif there is None:
            found.append(Unreachable(place, NO_WAY_TO))
        elif back is None:
            found.append(Unreachable(place, NO_WAY_BACK))
    return tuple(found)
