"""House numbers along the streets: every plot a house can stand on, with the way its front looks."""

import math
from collections import Counter
from dataclasses import dataclass

from routing.demo.domain.plane import to_globe
from routing.demo.domain.town import Street, Town

SETBACK_METRES = 17.0
FIRST_NUMBER = 101
SHARP_DEGREES = 25.0


@dataclass(frozen=True, slots=True)
class Plot:
    """One address; `front_degrees` is the compass bearing its front door looks to."""

    number: int
    street: str
    district: str
    lat: float
    lon: float
    front_degrees: int
    gated: bool

    @property
    def line(self) -> str:
        """The address line as written on a letter."""
        return f"{self.number} {self.street}"


def plots_by_street(town: Town) -> dict[str, list[Plot]]:
    """All plots of every street with houses, in the order of the numbers.

    Even numbers stand on the right, odd on the left, in the direction the street was drawn.
    """
    crossings = _crossings(town)
    return {street.name: _plots(town, street, crossings) for street in town.streets if street.line.houses}


def _plots(town: Town, street: Street, crossings: set[int]) -> list[Plot]:
    plots: list[Plot] = []
    for index in range(2, len(street.nodes) - 1):
        on_corner = not crossings.isdisjoint(street.nodes[index - 1 : index + 1])
        if not on_corner and not any(_is_sharp(town, street, at) for at in (index - 1, index)):
            plots.extend(_plot(town, street, index, side) for side in (-1, 1))
    return plots


def _is_sharp(town: Town, street: Street, at: int) -> bool:
    """Whether the street turns at this node so much that plots on the inside would run into each other."""
    a, b, c = (town.places[node] for node in street.nodes[at - 1 : at + 2])
    turn = math.atan2(c[1] - b[1], c[0] - b[0]) - math.atan2(b[1] - a[1], b[0] - a[0])
    return abs(math.degrees(math.remainder(turn, 2.0 * math.pi))) > SHARP_DEGREES


def _plot(town: Town, street: Street, index: int, side: int) -> Plot:
    """`side` is -1 left of the street's direction, 1 right of it."""
    before, here = (town.places[street.nodes[k]] for k in (index - 1, index))
    along = math.atan2(here[1] - before[1], here[0] - before[0])
    away = along - side * math.pi / 2.0
    middle = ((before[0] + here[0]) / 2.0, (before[1] + here[1]) / 2.0)
    lat, lon = to_globe(middle[0] + SETBACK_METRES * math.cos(away), middle[1] + SETBACK_METRES * math.sin(away))
    front = (90.0 - math.degrees(away + math.pi)) % 360.0
    number = FIRST_NUMBER + 2 * index + (1 if side > 0 else 0)
    return Plot(number, street.name, street.district, lat, lon, round(front) % 360, street.line.private)


def _crossings(town: Town) -> set[int]:
    """Nodes that more than one street runs through: no house stands on a corner."""
    seen = Counter(node for street in town.streets for node in set(street.nodes))
    return {node for node, count in seen.items() if count > 1}
