"""From a way through the streets to what a driver reads: turns, streets and how far to follow each.

A new step begins where the street's name changes, or where the way bends by more than a street does by itself at a
crossing. A roundabout is one step with the number of the exit, counted from where the way enters it.
"""

import math
from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from routing.roads.domain.graph import RoadGraph
from routing.roads.domain.network import DEGREES_PER_UNIT, Streets
from routing.roads.domain.router import Leg
from routing.roads.domain.snapping import Snap
from routing.roads.domain.way import PLAIN, Step, Turn, turn_of

AIM_METRES = 15.0  # a direction is taken over this length, so that a rounded corner does not hide a turn
METRES_PER_DEGREE = 111_195.0


def steps_of(graph: RoadGraph, leg: Leg, start: Snap, end: Snap) -> tuple[Step, ...]:
    """The steps of a way, in order; none where it begins where it ends."""
    if not leg.decimetres:
        return ()
    streets = graph.streets
    metres = _metres(streets, leg, start, end)
    steps: list[Step] = []
    exact: list[float] = []
    for number, arc in enumerate(leg.arcs):
        step = _step(streets, leg.arcs, number)
        if step is None:
            exact[-1] += metres[number]
        else:
            steps.append(step)
            exact.append(metres[number])
        if steps[-1].turn == Turn.ROUNDABOUT and not streets.seg_ring[streets.arc_seg[arc]]:
            steps[-1] = replace(steps[-1], street=_name(streets, arc))
    return tuple(replace(step, metres=round(far)) for step, far in zip(steps, exact, strict=True))


def _step(streets: Streets, arcs: tuple[int, ...], number: int) -> Step | None:
    """The step that begins with this arc; None where the one before goes on."""
    arc = arcs[number]
    name = _name(streets, arc)
    if number == 0:
        return Step(Turn.START, name, 0, heading=round(_bearing(streets, arc, at_end=False)) % 360)
    before = arcs[number - 1]
    was_ring, is_ring = (bool(streets.seg_ring[streets.arc_seg[one]]) for one in (before, arc))
    if is_ring:
        return None if was_ring else Step(Turn.ROUNDABOUT, "", 0, exit=_exit(streets, arcs[number:]))
    if was_ring and not streets.seg_ring[streets.arc_seg[arcs[0]]]:
        return None
    angle = (_bearing(streets, arc, at_end=False) - _bearing(streets, before, at_end=True) + 180) % 360 - 180
    turn = turn_of(angle)
    same_street = name == _name(streets, before) and abs(angle) < PLAIN
    return None if same_street else Step(turn, name, 0)


def _exit(streets: Streets, arcs: tuple[int, ...]) -> int:
    """How many streets leave the ring up to the one that is taken, itself counted."""
    count = 0
    for arc in arcs:
        if not streets.seg_ring[streets.arc_seg[arc]]:
            break
        leaving = np.flatnonzero(streets.arc_tail == streets.arc_head[arc])
        count += int(not streets.seg_ring[streets.arc_seg[leaving]].all())
    return count


def _name(streets: Streets, arc: int) -> str:
    return streets.names[int(streets.seg_name[streets.arc_seg[arc]])]


def _metres(streets: Streets, leg: Leg, start: Snap, end: Snap) -> list[float]:
    """How far each arc is driven; the first and the last only in part."""
    whole = [int(streets.seg_dm[streets.arc_seg[arc]]) / 10 for arc in leg.arcs]
    first, last = leg.arcs[0], leg.arcs[-1]
    behind = _along(streets, first, start)
    if len(leg.arcs) == 1:
        return [abs(_along(streets, last, end) - behind)]
    return [whole[0] - behind, *whole[1:-1], _along(streets, last, end)]


def _along(streets: Streets, arc: int, snap: Snap) -> float:
    whole = int(streets.seg_dm[snap.segment])
    return (snap.along_dm if streets.arc_ahead[arc] else whole - snap.along_dm) / 10


def _line(streets: Streets, arc: int) -> Iterator[tuple[float, float]]:
    """The shape of an arc as it is driven: latitude, longitude."""
    segment = int(streets.arc_seg[arc])
    points = range(int(streets.seg_first[segment]), int(streets.seg_last[segment]) + 1)
    for point in points if streets.arc_ahead[arc] else reversed(points):
        yield float(streets.shape_lat[point]) * DEGREES_PER_UNIT, float(streets.shape_lon[point]) * DEGREES_PER_UNIT


def _bearing(streets: Streets, arc: int, *, at_end: bool) -> float:
    """Degrees clockwise from north in which an arc sets out, or comes in."""
    line = list(_line(streets, arc))
    if at_end:
        line.reverse()
    lat, lon = line[0]
    east = north = 0.0
    for there in line[1:]:
        north = (there[0] - lat) * METRES_PER_DEGREE
        east = (there[1] - lon) * METRES_PER_DEGREE * math.cos(math.radians(lat))
        if math.hypot(east, north) >= AIM_METRES:
            break
    sign = -1 if at_end else 1
    return math.degrees(math.atan2(sign * east, sign * north))
