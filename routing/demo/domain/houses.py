"""The demo's properties: where they stand, how big they are, and their walls with facing, colour and area."""

import random
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date

from routing.demo.domain.addresses import Plot, plots_by_street
from routing.demo.domain.people import CustomerSpec
from routing.demo.domain.town import Town

POSTAL_CODE = "00042"  # no real place has one that begins with 000 (from memory)
QUARTERS = ("north", "east", "south", "west")
STOREY_FEET = 9
OLDEST_SIDING = 2008  # all of it was fitted within eleven years
COLOURS = (
    ("white", 95), ("cream", 88), ("almond", 84), ("sand", 76), ("light grey", 74), ("sage", 62),
    ("clay", 58), ("slate blue", 46), ("barn red", 34), ("forest green", 30), ("charcoal", 26),
)  # fmt: skip
DARK_COLOURS = tuple(colour for colour in COLOURS if colour[1] < 50)
MATERIALS = ("vinyl",) * 17 + ("aluminium", "fibre_cement", "painted_wood", "brick")
GATE_NOTES = (
    "Side gate on the left sticks, lift it.", "Latch is inside, reach over the gate.", "Gate is chained; ring first.",
    "Keep the gate shut, chickens.", "Gate code on the work order, ask the office.",
)  # fmt: skip
PET_NOTES = (
    "Dog in the back yard, friendly.", "Two dogs; ask for them to be let in.", "Cat sleeps on the sill by the deck.",
    "Dog does not like hoses; call ahead.",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class District:
    """How houses of a district usually are."""

    weight: float  # how many of our customers live there
    built: tuple[int, int]
    two_storeys: float
    footprint_sqft: tuple[int, int]


DISTRICTS = {
    "old town": District(0.7, (1925, 1965), 0.35, (900, 1300)),
    "plain streets": District(1.0, (1955, 1985), 0.2, (1000, 1500)),
    "crescents": District(1.5, (1978, 2004), 0.6, (1100, 1700)),
    "dead ends": District(1.9, (1992, 2016), 0.75, (1200, 1900)),
    "gated estate": District(4.0, (2003, 2019), 0.95, (1600, 2600)),
    "fields": District(1.2, (1930, 2005), 0.5, (1100, 1800)),
}


@dataclass(frozen=True, slots=True)
class WallSpec:
    """One face or element of a house."""

    name: str
    kind: str
    material: str
    colour: str
    lightness_percent: int
    facing_degrees: int
    area_sqft: int
    storeys: int


@dataclass(frozen=True, slots=True)
class House:
    """One property to be, with the quantities that services are priced by."""

    reference: str
    customer: str
    plot: Plot
    storeys: int
    year_built: int
    siding_since: date
    walls: tuple[WallSpec, ...]
    roof_sqft: int
    gutter_ft: int
    concrete_sqft: int
    deck_sqft: int
    gate_note: str
    pet_note: str
    has_place: bool = True

    @property
    def wall_sqft(self) -> int:
        return sum(wall.area_sqft for wall in self.walls if wall.kind == "face")


def houses_make(rng: random.Random, town: Town, customers: Sequence[CustomerSpec], *, today: date) -> list[House]:
    """One house for each property of each customer, neighbours now and then, most in the newer districts."""
    owners = [customer.reference for customer in customers for _ in range(customer.houses)]
    plots = _plots(rng, town, len(owners))
    pairs = enumerate(zip(owners, plots, strict=True))
    return [_house(rng, number, owner, plot, today) for number, (owner, plot) in pairs]


def _plots(rng: random.Random, town: Town, count: int) -> list[Plot]:
    """Streets drawn by district, a few neighbours from each: word goes from fence to fence."""
    by_street = [plots for plots in plots_by_street(town).values() if plots]
    weights = [DISTRICTS[plots[0].district].weight for plots in by_street]
    chosen: dict[tuple[int, str], Plot] = {}
    while len(chosen) < count:
        plots = rng.choices(by_street, weights)[0]
        first = rng.randrange(len(plots))
        for plot in plots[first : first + rng.choice((1, 1, 1, 2, 2, 5)) : 2]:
            chosen.setdefault((plot.number, plot.street), plot)
    picked = list(chosen.values())[:count]
    rng.shuffle(picked)
    return picked


def _house(rng: random.Random, number: int, owner: str, plot: Plot, today: date) -> House:
    district = DISTRICTS[plot.district]
    built = rng.randint(*district.built)
    storeys = 2 if rng.random() < district.two_storeys else 1
    width, depth = _footprint(rng, district)
    siding_year = max(built, OLDEST_SIDING + rng.randint(0, 23) * 11 // 24)
    walls = tuple(_walls(rng, plot.front_degrees, width, depth, storeys))
    return House(
        reference=f"demo-p{number + 1:04}", customer=owner, plot=plot, storeys=storeys, year_built=built,
        siding_since=date(siding_year, rng.randint(4, 10), 15), walls=walls,
        roof_sqft=round(width * depth * 1.25 / 10) * 10, gutter_ft=3 * width + rng.choice((0, 20, 40)),
        concrete_sqft=rng.randrange(700, 1600, 50), deck_sqft=rng.randrange(240, 640, 20) if rng.random() < 0.45 else 0,
        gate_note=_gate_note(rng, plot), pet_note=rng.choice(PET_NOTES) if rng.random() < 0.22 else "",
    )  # fmt: skip


def _footprint(rng: random.Random, district: District) -> tuple[int, int]:
    area = rng.uniform(*district.footprint_sqft)
    depth = rng.randint(26, 36)
    return round(area / depth), depth


def _gate_note(rng: random.Random, plot: Plot) -> str:
    if plot.gated:
        return "Estate gate: give the company's name to the keeper."
    return rng.choice(GATE_NOTES) if rng.random() < 0.18 else ""


def _walls(rng: random.Random, front: int, width: int, depth: int, storeys: int) -> Iterator[WallSpec]:
    material = rng.choice(MATERIALS)
    colour, lightness = rng.choice(COLOURS)
    for turn, run in zip((0, 90, 180, 270), (width, depth, width, depth), strict=True):
        facing = (front + turn) % 360
        area = round(run * STOREY_FEET * storeys * 0.88)
        yield WallSpec(
            f"{QUARTERS[quarter_of(facing)].capitalize()} wall",
            "face",
            material,
            colour,
            lightness,
            facing,
            area,
            storeys,
        )
    yield from _elements(rng, front, storeys)


def _elements(rng: random.Random, front: int, storeys: int) -> Iterator[WallSpec]:
    """Garage doors and shutters: at the front, and darker than the walls more often than not."""
    if rng.random() < 0.7:
        colour, lightness = rng.choice(COLOURS)
        area = rng.choice((56, 112, 112, 168))
        yield WallSpec("Garage door", "garage_door", "aluminium", colour, lightness, front, area, 1)
    if rng.random() < 0.4:
        colour, lightness = rng.choice(DARK_COLOURS)
        yield WallSpec("Shutters", "shutters", "vinyl", colour, lightness, front, rng.randrange(24, 97, 8), storeys)


def quarter_of(degrees: int) -> int:
    """Which of north, east, south, west a bearing is nearest to, as 0 to 3; four walls of a house never share one."""
    return (degrees + 45) // 90 % 4
