"""A routing server: asked in blocks, believed only where it makes sense, and replaced as a whole where it fails."""

from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from routing.roads.domain import ESTIMATED, LONGEST_SOURCE, NO_STREET, NO_WAY_BACK, NO_WAY_TO
from routing.roads.errors import ServerFailed
from routing.roads.services import server
from routing.roads.services.drive import drive_table
from routing.roads.services.server import AT_ONCE, RoadServer
from tests.routing.roads.stand import Stand, minutes_apart

POINTS = [(40.0, -82.0), (40.01, -82.0), (40.0, -82.02)]


@pytest.fixture
def stand() -> Iterator[Stand]:
    made = Stand()
    yield made
    made.end()


@pytest.mark.parametrize("kind", ["valhalla", "osrm"])
def test_both_kinds_give_the_same_table(stand: Stand, kind: str) -> None:
    """Seconds to whole minutes and metres, rounded up; one way may be longer than the other."""
    table = RoadServer(kind, stand.url).table(POINTS)
    assert table.minutes == ((0, 10, 10), (10, 0, 20), (11, 21, 0))
    assert table.metres[0][1] == 6_000
    assert table.source == f"routing server ({kind})"
    assert not table.unreachable


@pytest.mark.parametrize("kind", ["valhalla", "osrm"])
def test_many_places_are_asked_in_blocks(stand: Stand, kind: str) -> None:
    """No request has more than AT_ONCE by AT_ONCE pairs, and the blocks land where they belong."""
    points = [(40.0 + number / 10_000, -82.0) for number in range(2 * AT_ONCE + 3)]
    table = RoadServer(kind, stand.url).table(points)
    assert stand.requests == 9
    for a, b in ((0, AT_ONCE), (2 * AT_ONCE + 2, 1), (AT_ONCE - 1, AT_ONCE)):
        expected = minutes_apart(points[a], points[b]) / 60
        assert table.minutes[a][b] == pytest.approx(expected, abs=1)


def test_null_cells_are_no_drive_and_never_zero(stand: Stand) -> None:
    """A place without a way to it, back from it, or either, is named."""
    yard, island, one_way = POINTS
    blocked = {(yard, island), (island, yard), (yard, one_way)}
    stand.cell = lambda a, b: None if (a, b) in blocked else minutes_apart(a, b)
    table = RoadServer("valhalla", stand.url).table(POINTS)
    assert table.minutes[0] == (0, None, None)
    assert [(each.position, each.reason) for each in table.unreachable] == [(1, NO_STREET), (2, NO_WAY_TO)]
    stand.cell = lambda a, b: None if (a, b) == (island, yard) else minutes_apart(a, b)
    (left,) = RoadServer("osrm", stand.url).table(POINTS).unreachable
    assert (left.position, left.reason) == (1, NO_WAY_BACK)


@pytest.mark.parametrize("kind", ["valhalla", "osrm"])
@pytest.mark.parametrize(
    "raw",
    [
        b"", b"<html>busy</html>", b"null", b"[]", b"{}", b'"text"', b'{"sources_to_targets": [[{"time": 1}]]}',
        b'{"sources_to_targets": []}', b'{"sources_to_targets": {"durations": [[0]]}}', b'{"code": "NoTable"}',
        b'{"code": "Ok", "durations": [[0]], "distances": [[0]]}', b'{"code": "Ok", "durations": null, "distances": 1}',
    ],
)  # fmt: skip
def test_nonsense_is_not_believed(stand: Stand, kind: str, raw: bytes) -> None:
    stand.raw = raw
    with pytest.raises(ServerFailed):
        RoadServer(kind, stand.url).table(POINTS)


@pytest.mark.parametrize("value", [-1, 1e12, "12", True, [], {}])
def test_a_time_that_no_drive_can_have_is_not_believed(stand: Stand, value: Any) -> None:
    stand.cell = lambda a, b: value
    stand.valhalla_cell = lambda a, b: {"time": value, "distance": 1}  # type: ignore[method-assign]
    with pytest.raises(ServerFailed):
        RoadServer("valhalla", stand.url).table(POINTS)


def test_a_time_without_a_distance_is_not_believed(stand: Stand) -> None:
    stand.valhalla_cell = lambda a, b: {"time": 60, "distance": None}  # type: ignore[method-assign]
    with pytest.raises(ServerFailed, match="without a distance"):
        RoadServer("valhalla", stand.url).table(POINTS)


@pytest.mark.parametrize("status", [400, 404, 429, 500])
def test_an_error_answer_is_a_failure(stand: Stand, status: int) -> None:
    stand.status = status
    with pytest.raises(ServerFailed):
        RoadServer("valhalla", stand.url).table(POINTS)
    assert stand.requests == 1


def test_a_busy_server_is_asked_once_more(stand: Stand) -> None:
    stand.status = 503
    with pytest.raises(ServerFailed):
        RoadServer("valhalla", stand.url).table(POINTS)
    assert stand.requests == 2


def test_a_slow_server_is_not_waited_for(stand: Stand, monkeypatch: pytest.MonkeyPatch) -> None:
    """Neither for one answer nor for all of them together."""
    monkeypatch.setattr(server, "ANSWER_SECONDS", 0.05)
    stand.wait = 0.5
    with pytest.raises(ServerFailed, match="cannot be asked"):
        RoadServer("valhalla", stand.url).table(POINTS)
    stand.wait = 0.0
    monkeypatch.setattr(server, "ANSWER_SECONDS", 5.0)
    ticking = iter(range(0, 1_000, 20))
    points = [(40.0 + number / 10_000, -82.0) for number in range(AT_ONCE + 1)]
    with pytest.raises(ServerFailed, match="too slow"):
        RoadServer("valhalla", stand.url, clock=lambda: float(next(ticking))).table(points)


def test_an_unknown_kind_is_said(stand: Stand) -> None:
    with pytest.raises(ServerFailed, match="valhalla or osrm"):
        RoadServer("other", stand.url).table(POINTS)


@pytest.mark.django_db
def test_a_plan_goes_on_without_the_server(stand: Stand, settings: Any) -> None:
    """Killed in the middle of a table: the whole table comes from the other source, and says what happened."""
    settings.WALLDAY_ROADS_URL = stand.url
    assert drive_table(POINTS).source == "routing server (valhalla)"
    points = [(40.0 + number / 10_000, -82.0) for number in range(AT_ONCE + 1)]
    stand.requests = 0
    stand.on_request = lambda number: stand.end() if number == 1 else None
    table = drive_table(points)
    assert table.source == f"{ESTIMATED}; server failed"
    assert table.server_failed
    settings.WALLDAY_ROADS_URL = ""
    assert table.minutes == drive_table(points).minutes


@pytest.mark.django_db
def test_a_server_that_is_not_there_is_no_reason_to_stop(settings: Any) -> None:
    """Nobody listens on port 9 of this machine."""
    settings.WALLDAY_ROADS_URL = "http://127.0.0.1:9"
    table = drive_table(POINTS)
    assert table.source.endswith("server failed")
    assert len(table.source) <= LONGEST_SOURCE


@given(st.lists(st.tuples(st.floats(-80, 80), st.floats(-170, 170)), min_size=1, max_size=6), st.data())
def test_whatever_numbers_come_the_table_is_sound(points: list[tuple[float, float]], data: st.DataObject) -> None:
    """0 only between places with the same coordinates, at least 1 elsewhere, None where null came."""
    cells = st.none() | st.integers(0, 100_000) | st.floats(0, 100_000)
    seconds = [[data.draw(cells) for _ in points] for _ in points]
    metres = [[None if cell is None else cell * 3 for cell in row] for row in seconds]
    table = server._table(points, seconds, metres, "source")
    for a, start in enumerate(points):
        for b, end in enumerate(points):
            cell = table.minutes[a][b]
            assert (cell == 0) is (start == end)
            assert cell is None or (cell, table.metres[a][b] or 0) >= (0, 0)
            assert start == end or (cell is None) is (seconds[a][b] is None)
