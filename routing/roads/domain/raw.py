"""What is kept of an OpenStreetMap file before it becomes a graph: ways for cars, their nodes, turn rules."""

from collections import Counter
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from routing.roads.domain.tags import WayRules

Ints = NDArray[np.int64]
Small = NDArray[np.int32]
Bytes = NDArray[np.uint8]


@dataclass(frozen=True, slots=True)
class RawRule:
    """A turn rule that binds cars. `kind` is "no" or "only"; it goes via one node or via one or more ways."""

    id: int
    kind: str
    from_ways: tuple[int, ...]
    via_nodes: tuple[int, ...]
    via_ways: tuple[int, ...]
    to_ways: tuple[int, ...]


@dataclass(frozen=True)
class RawRoads:
    """Columns of ways [w] and of the nodes that they use [n]; coordinates are whole 1e-7 degrees.

    `refs[ref_starts[k]:ref_starts[k + 1]]` are the node ids of way k; `way_rule[k]` and `way_name[k]` are positions
    in `rules` and `names`; `node_ids` ascend.
    """

    way_ids: Ints
    way_rule: Small
    way_name: Small
    ref_starts: Ints
    refs: Ints
    node_ids: Ints
    node_lat: Small
    node_lon: Small
    node_kind: Bytes
    rules: tuple[WayRules, ...]
    names: tuple[str, ...]
    turn_rules: tuple[RawRule, ...] = ()
    ignored: Counter[str] = field(default_factory=Counter)
