"""The roads themselves as the ground of a map: light, simplified to what a screen can show, bounded in size.

Nearness is that of web maps: at zoom z the whole Earth is 256 * 2**z pixels wide.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from routing.roads.domain.network import DEGREES_PER_UNIT, Flags, Streets
from routing.roads.domain.raw import Ints
from routing.roads.domain.speeds import CLASSES

MOST_POINTS = 40_000
FARTHEST, NEAREST = 0, 20
# The zoom from which each class is drawn; our choice, no source.
FROM_ZOOM = {
    "motorway": 0, "trunk": 0, "ferry": 9, "primary": 9, "motorway_link": 11, "trunk_link": 11, "secondary": 10,
    "primary_link": 12, "secondary_link": 12, "tertiary": 11, "tertiary_link": 12, "unclassified": 12,
    "residential": 12, "road": 12, "living_street": 13, "service": 15, "track": 15,
}  # fmt: skip
RANK = {name: rank for rank, name in enumerate(FROM_ZOOM)}
TILE_PIXELS = 256


@dataclass(frozen=True, slots=True)
class Box:
    """A part of the Earth in degrees, as the `bbox` of RFC 7946; it does not cross the antimeridian."""

    west: float
    south: float
    east: float
    north: float

    def __post_init__(self) -> None:
        if not (-180 <= self.west < self.east <= 180 and -90 <= self.south < self.north <= 90):
            raise ValueError("a box is west < east within 180 degrees and south < north within 90")


@dataclass(frozen=True, slots=True)
class Background:
    """Roads of a box as GeoJSON features, the least important first; `left_out` are classes that would be too much."""

    features: tuple[dict[str, Any], ...]
    left_out: tuple[str, ...]


def background_of(streets: Streets, box: Box, zoom: int) -> Background:
    """Lines of the roads that touch the box, one feature for each class and name, within half a pixel of the truth.

    Classes come by rank until MOST_POINTS of the extract are taken; a class is drawn whole or not at all.
    """
    near = np.flatnonzero(_in_box(streets, box) & _is_shown(zoom)[streets.seg_class])
    taken, left_out = _within_bounds(streets, near)
    order = np.lexsort((streets.seg_name[taken], -_RANKS[streets.seg_class[taken]]))
    taken = taken[order]
    kinds = np.stack([streets.seg_class[taken], streets.seg_name[taken]])
    breaks = np.flatnonzero(np.any(kinds[:, 1:] != kinds[:, :-1], axis=0)) + 1
    groups = [group for group in np.split(taken, breaks) if len(group)]
    return Background(tuple(_feature(streets, group, zoom) for group in groups), left_out)


_RANKS = np.array([RANK[name] for name in CLASSES])


def _is_shown(zoom: int) -> Flags:
    return np.array([FROM_ZOOM[name] <= zoom for name in CLASSES])


def _in_box(streets: Streets, box: Box) -> Flags:
    """Segments that are driven and whose own bounds meet the box."""
    driven = np.zeros(len(streets.seg_from), bool)
    driven[streets.arc_seg] = True
    low, high = ((box.south, box.west), (box.north, box.east))
    for column, least, most in zip((streets.shape_lat, streets.shape_lon), low, high, strict=True):
        ends = np.stack([streets.seg_first, streets.seg_last + 1], axis=1).ravel()
        # The last end may lie one beyond the column, which `reduceat` does not take: one value more.
        padded = np.append(column, column[-1:])
        driven &= np.maximum.reduceat(padded, ends)[::2] * DEGREES_PER_UNIT >= least
        driven &= np.minimum.reduceat(padded, ends)[::2] * DEGREES_PER_UNIT <= most
    return driven


def _within_bounds(streets: Streets, near: Ints) -> tuple[Ints, tuple[str, ...]]:
    points = np.bincount(
        _RANKS[streets.seg_class[near]],
        weights=streets.seg_last[near] - streets.seg_first[near] + 1,
        minlength=len(RANK),
    )
    fits = np.cumsum(points) <= MOST_POINTS
    left_out = tuple(name for name, rank in RANK.items() if points[rank] and not fits[rank])
    return near[fits[_RANKS[streets.seg_class[near]]]], left_out


def _feature(streets: Streets, group: Ints, zoom: int) -> dict[str, Any]:
    """The segments of one class and name, joined end to end where they meet."""
    parts = [slice(int(streets.seg_first[s]), int(streets.seg_last[s]) + 1) for s in group]
    at = np.concatenate([np.arange(part.start, part.stop) for part in parts])
    which = np.repeat(np.arange(len(parts)), [part.stop - part.start for part in parts])
    places = np.stack([streets.shape_lon[at], streets.shape_lat[at]], axis=1) * DEGREES_PER_UNIT
    joined = shapely.line_merge(shapely.multilinestrings(shapely.linestrings(places, indices=which)))
    light = shapely.simplify(joined, 180 / (TILE_PIXELS * 2**zoom), preserve_topology=False)
    lines = [_rounded(shapely.get_coordinates(line)) for line in shapely.get_parts(light)]
    words = {"class": CLASSES[int(streets.seg_class[group[0]])], "name": streets.names[int(streets.seg_name[group[0]])]}
    return {
        "type": "Feature",
        "geometry": {"type": "MultiLineString", "coordinates": lines},
        "properties": {name: word for name, word in words.items() if word},
    }


def _rounded(line: Any) -> list[list[float]]:
    """Five digits of a degree are about a metre: less than a pixel up to zoom 16, and near it beyond."""
    return [[round(lon, 5), round(lat, 5)] for lon, lat in line.tolist()]
