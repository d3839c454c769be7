"""An invented stretch of land with as many crossings as asked for, written as an OpenStreetMap extract.

Crossings stand on a shaken lattice of 150 m. Every 40th line is a primary road, every 10th a secondary or tertiary
one; of the side streets a third is missing, so there are dead ends and detours, and a tenth is one-way. One turn in
a hundred at main roads is forbidden. Each stretch has a bend, so that streets are longer than the air between.
"""

from pathlib import Path

import numpy as np
import osmium
from osmium.osm.mutable import Node, Relation, Way

LandWay = tuple[list[int], dict[str, str]]
"""The crossings of a way in driving order, and its tags."""

SPACING_DEGREES = 150.0 / 111_195.0
SOUTH, WEST = 40.0, -100.0
MISSING_SHARE, ONE_WAY_SHARE, FORBIDDEN_SHARE = 0.35, 0.1, 0.01
STRETCHES_PER_WAY = 6
CLASS_SPEEDS = {"primary": "50 mph", "secondary": "40 mph", "tertiary": "30 mph", "residential": ""}


def write_land(path: Path, *, crossings: int, seed: int = 1) -> int:
    """Write the extract; returns the number of crossings. The same seed writes the same file."""
    rng = np.random.default_rng(seed)
    side = int(np.ceil(np.sqrt(crossings)))
    lat, lon = lattice(rng, side)
    write_streets(path, rng, lat, lon, lattice_ways(rng, side))
    return side * side


def write_streets(path: Path, rng: np.random.Generator, lat: np.ndarray, lon: np.ndarray, ways: list[LandWay]) -> None:
    """Write ways over numbered crossings, with a bend in each stretch and a few forbidden turns; all by their ids."""
    bends = bends_of(rng, lat, lon, ways, len(lat))
    with osmium.SimpleWriter(str(path), overwrite=True) as writer:
        for number in range(len(lat)):
            writer.add_node(Node(id=number + 1, location=(float(lat[number]), float(lon[number]))[::-1]))
        for number, (north, east) in bends.items():
            writer.add_node(Node(id=number + 1, location=(east, north)))
        for way_id, (nodes, tags) in enumerate(ways, start=1):
            writer.add_way(Way(id=way_id, nodes=[node + 1 for node in nodes], tags=tags))
        for rule_id, members in enumerate(turn_rules_of(rng, ways), start=1):
            writer.add_relation(
                Relation(id=rule_id, members=members, tags={"type": "restriction", "restriction": "no_left_turn"})
            )


def lattice(rng: np.random.Generator, side: int) -> tuple[np.ndarray, np.ndarray]:
    row, column = np.divmod(np.arange(side * side), side)
    shake = rng.uniform(-0.25, 0.25, (2, side * side)) * SPACING_DEGREES
    stretch = 1 / np.cos(np.radians(SOUTH))
    return SOUTH + row * SPACING_DEGREES + shake[0], WEST + (column * SPACING_DEGREES + shake[1]) * stretch


def _class_of(line: int) -> str:
    return (
        "primary"
        if line % 40 == 0
        else ("secondary" if line % 20 == 0 else "tertiary")
        if line % 10 == 0
        else "residential"
    )


def lattice_ways(rng: np.random.Generator, side: int) -> list[LandWay]:
    """Each line cut into ways of a few stretches; of side streets some stretches are missing."""
    ways = []
    for across in (False, True):
        for line in range(side):
            kind = _class_of(line)
            nodes = [line * side + k if across else k * side + line for k in range(side)]
            there = rng.random(side - 1) > (MISSING_SHARE if kind == "residential" else 0.0)
            run = [nodes[0]]
            for k in range(side - 1):
                if there[k]:
                    run.append(nodes[k + 1])
                if len(run) > STRETCHES_PER_WAY or not there[k] or k == side - 2:
                    if len(run) > 1:
                        ways.append((run, _tags(rng, kind, line)))
                    run = [nodes[k + 1]]
    return ways


def _tags(rng: np.random.Generator, kind: str, line: int) -> dict[str, str]:
    tags = {"highway": kind, "name": f"{kind.capitalize()} line {line}"}
    if CLASS_SPEEDS[kind]:
        tags["maxspeed"] = CLASS_SPEEDS[kind]
    if kind == "residential" and rng.random() < ONE_WAY_SHARE:
        tags["oneway"] = "yes"
    return tags


def bends_of(
    rng: np.random.Generator,
    lat: np.ndarray,
    lon: np.ndarray,
    ways: list[LandWay],
    next_id: int,
) -> dict[int, tuple[float, float]]:
    """A node half way along each stretch, a little aside; written into the ways."""
    bends = {}
    for nodes, _tags_of_way in ways:
        bent = [nodes[0]]
        for a, b in zip(nodes, nodes[1:], strict=False):
            north, east = rng.uniform(-0.1, 0.1, 2) * SPACING_DEGREES
            bends[next_id] = (float((lat[a] + lat[b]) / 2 + north), float((lon[a] + lon[b]) / 2 + east))
            bent += [next_id, b]
            next_id += 1
        nodes[:] = bent
    return bends


def turn_rules_of(rng: np.random.Generator, ways: list[LandWay]) -> list[list[tuple[str, int, str]]]:
    """Turns from one way into another at the node where both end."""
    ending: dict[int, int] = {}
    found = []
    for way_id, (nodes, tags) in enumerate(ways, start=1):
        other = ending.get(nodes[0])
        if other is not None and tags["highway"] == "residential" and rng.random() < FORBIDDEN_SHARE:
            found.append([("w", other, "from"), ("n", nodes[0] + 1, "via"), ("w", way_id, "to")])
        ending[nodes[-1]] = way_id
    return found
