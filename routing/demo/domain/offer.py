"""What the demo company sells: its rate card as plain values, and how its crews truly fare against the card.

`true_time_percent` is the demo's secret: the minutes a service really takes against the minutes the card says.
Two services are sold as if they were quick and are not; that is what the earnings report has to find: one brings less
than the reserve and should be given up, one less than the target and should be dearer.
"""

import random
from collections.abc import Mapping
from dataclasses import dataclass

from routing.demo.domain.houses import House
from shared.units import round_half_up

BELOW, ABOVE, TOO_FEW = "below", "above", "not_enough_to_tell"


@dataclass(frozen=True, slots=True)
class Offer:
    """One service on the rate card; rates of work are for a two-person crew."""

    service: str
    skills: frozenset[str]
    price_cents_per_100_units: int
    minimum_price_cents: int
    materials_cents_per_100_units: int
    setup_minutes: int
    units_per_crew_hour: int
    units_per_crew_hour_high: int

    def price_cents(self, quantity: int) -> int:
        return max(self.minimum_price_cents, round_half_up(self.price_cents_per_100_units * quantity / 100))

    def materials_cents(self, quantity: int) -> int:
        return round_half_up(self.materials_cents_per_100_units * quantity / 100)

    def minutes(self, quantity: int, storeys: int) -> int:
        """Estimated minutes on site, setup included."""
        rate = self.units_per_crew_hour_high if storeys > 1 else self.units_per_crew_hour
        return self.setup_minutes + round_half_up(60 * quantity / rate)


@dataclass(frozen=True, slots=True)
class Truth:
    """What is true of a service in the demo: its real time, and the verdict that follows from it."""

    true_time_percent: int
    verdict: str


TRUTHS = {
    "house_wash": Truth(102, ABOVE),
    "concrete": Truth(85, ABOVE),
    "gutter_clearing": Truth(86, ABOVE),
    "deck_wash": Truth(116, ABOVE),  # by little
    "chalk_removal": Truth(124, BELOW),
    "gutter_brightening": Truth(118, BELOW),
    "roof_wash": Truth(100, TOO_FEW),
}
SERVICES = tuple(TRUTHS)
LARGEST_REMOVAL_SQFT = 440  # more than that is sold as two jobs
Offers = Mapping[str, Offer]


@dataclass(frozen=True, slots=True)
class LineSpec:
    """One service on a job of the demo."""

    service: str
    quantity: int
    price_cents: int
    materials_cents: int
    estimated_minutes: int
    walls: tuple[str, ...] = ()


def quantity_of(rng: random.Random, service: str, house: House) -> tuple[int, tuple[str, ...]]:
    """How much of a service a house takes, and on which walls where it is not the whole house."""
    if service == "chalk_removal":
        return _chalk_quantity(rng, house)
    whole = {
        "house_wash": house.wall_sqft, "roof_wash": house.roof_sqft, "gutter_clearing": house.gutter_ft,
        "gutter_brightening": house.gutter_ft, "concrete": house.concrete_sqft,
        "deck_wash": house.deck_sqft or 320,
    }  # fmt: skip
    return whole[service], ()


def _chalk_quantity(rng: random.Random, house: House) -> tuple[int, tuple[str, ...]]:
    """The sunniest wall up to a height that is worth it, and the elements."""
    faces = [wall for wall in house.walls if wall.kind == "face"]
    elements = [wall for wall in house.walls if wall.kind != "face"]
    sunny = min(faces, key=lambda wall: abs(wall.facing_degrees - 180))
    walls = [sunny, *elements]
    area = round(sunny.area_sqft * rng.uniform(0.6, 1.0)) + sum(wall.area_sqft for wall in elements)
    return min(LARGEST_REMOVAL_SQFT, max(120, area)), tuple(wall.name for wall in walls)


def line_make(rng: random.Random, offers: Offers, service: str, house: House) -> LineSpec:
    """A line as the office would have sold it: the card's price, a little haggling, to whole dollars."""
    offer = offers[service]
    quantity, walls = quantity_of(rng, service, house)
    price = max(offer.minimum_price_cents, round(offer.price_cents(quantity) * rng.uniform(0.94, 1.07) / 100) * 100)
    return LineSpec(
        service, quantity, price, offer.materials_cents(quantity), offer.minutes(quantity, house.storeys), walls
    )
