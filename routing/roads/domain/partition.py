"""The network cut into nested cells, each about half of the one around it, with few streets from one to the next.

Each cut is the best of four directions (along, across, both diagonals): nodes are sorted along the direction, the
ends of the order are tied together, and the least cut between them is found by maximum flow ("inertial flow",
Schild and Sommer 2015, On Balanced Separators in Road Networks). Large cells are cut at the middle of their longer
side instead, where the flow would take longer than it saves.
"""

import numpy as np
from scipy.sparse import csr_array
from scipy.sparse.csgraph import breadth_first_order, maximum_flow

from routing.roads.domain.network import Floats, Streets
from routing.roads.domain.raw import Ints, Small

CELL_NODES = 100
END_SHARE = 0.35  # of the nodes at each end of the order; what lies between may fall to either side
FLOW_NODES = 40_000


def cell_codes(streets: Streets) -> tuple[Small, int]:
    """The leaf cell of each node as a number of so many bits: the first bits name the cells around it.

    Two nodes whose codes agree in their first k bits lie in the same cell of depth k.
    """
    depth = max(0, int(np.ceil(np.log2(max(1, streets.nodes) / CELL_NODES))))
    codes = np.zeros(streets.nodes, np.int32)
    east = streets.node_lon * np.cos(np.radians(float(np.mean(streets.node_lat, dtype=float)) * 1e-7))
    places = np.stack([east, streets.node_lat.astype(float)])
    links = _links(streets)
    cells = [np.arange(streets.nodes)]
    for bit in range(depth - 1, -1, -1):
        halves: list[Ints] = []
        for cell in cells:
            low, high = _halves(cell, places, links)
            codes[high] |= 1 << bit
            halves += [low, high]
        cells = halves
    return codes, depth


def _links(streets: Streets) -> csr_array:
    """One unit of capacity for each street between two nodes, both ways."""
    a = np.concatenate([streets.seg_from, streets.seg_to])
    b = np.concatenate([streets.seg_to, streets.seg_from])
    apart = a != b
    size = (streets.nodes, streets.nodes)
    return csr_array((np.ones(np.count_nonzero(apart), np.int32), (a[apart], b[apart])), shape=size)


def _halves(cell: Ints, places: Floats, links: csr_array) -> tuple[Ints, Ints]:
    x, y = places[:, cell]
    if len(cell) < 4:
        return cell[:1], cell[1:]
    if len(cell) > FLOW_NODES:
        return _at_middle(cell, x if np.ptp(x) > np.ptp(y) else y)
    inside = links[cell][:, cell]
    cuts = (_least_cut(inside, line) for line in (x, y, x + y, x - y))
    _streets, side = min(cuts, key=lambda cut: cut[0])
    return cell[side], cell[~side]


def _at_middle(cell: Ints, line: Floats) -> tuple[Ints, Ints]:
    order = np.argsort(line, kind="stable")
    middle = len(cell) // 2
    return cell[order[:middle]], cell[order[middle:]]


def _least_cut(inside: csr_array, line: Floats) -> tuple[int, "np.ndarray"]:
    """How many streets the cut crosses, and which nodes are on its first side."""
    count = len(line)
    order = np.argsort(line, kind="stable")
    end = max(1, int(count * END_SHARE))
    group = np.empty(count, np.int64)  # the ends become one node each: source 0 and sink 1
    group[order[:end]] = 0
    group[order[end : count - end]] = 2 + np.arange(count - 2 * end)
    group[order[count - end :]] = 1
    links = inside.tocoo()
    a, b = group[links.row], group[links.col]
    apart = a != b
    size = 2 + count - 2 * end
    small = csr_array((links.data[apart], (a[apart], b[apart])), shape=(size, size))
    flow = maximum_flow(small, 0, 1, method="dinic")
    left = small - flow.flow
    left.eliminate_zeros()
    left.data[left.data < 0] = 0
    left.eliminate_zeros()
    reached = np.zeros(size, bool)
    reached[breadth_first_order(left, 0, directed=True, return_predecessors=False)] = True
    return int(flow.flow_value), reached[group]
