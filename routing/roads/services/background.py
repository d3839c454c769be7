"""The ground of the maps: GeoJSON of the roads in use, kept by each process."""

import json
from functools import lru_cache

from routing.roads.domain.background import Box, background_of
from routing.roads.selectors import road_map_current
from routing.roads.services.store import graph_load
from shared.errors import NotFound

KEPT = 256
EMPTY = b'{"type":"FeatureCollection","features":[]}'


def roads_background(*, box: Box, zoom: int) -> bytes:
    """A GeoJSON feature collection of the roads of a box, simplified for a zoom; without roads an empty one."""
    current = road_map_current()
    if current is None:
        return EMPTY
    try:
        return _drawn(current.version, box, zoom)
    except NotFound:
        return EMPTY


@lru_cache(maxsize=KEPT)
def _drawn(version: str, box: Box, zoom: int) -> bytes:
    found = background_of(graph_load(version).streets, box, zoom)
    collection = {"type": "FeatureCollection", "features": found.features, "left_out": found.left_out}
    return json.dumps(collection, separators=(",", ":")).encode()
