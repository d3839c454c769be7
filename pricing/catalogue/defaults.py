"""First guesses for a company that has no rate card yet.

Every number here is common practice, no source: a middle value of what the trade usually does and asks, meant
to be replaced by the company's own figures. The cautions are the usual ones; the product label, the safety
data sheet, local codes and licensed practice come first.
"""

from dataclasses import dataclass, field

from pricing.catalogue.choices import FactorOf, Unit

TARGET_CENTS_PER_CREW_HOUR = 175_00
RESERVE_CENTS_PER_CREW_HOUR = 110_00

SKILLS = {
    "roof": "Roof work",
    "ladder": "Ladder work",
    "pure_water": "Pure-water pole",
    "surface_cleaner": "Surface cleaner",
}


# Cents per US gallon as bought.
MATERIALS = {
    "Hypochlorite stock": 4_00,
    "Surfactant": 25_00,
    "Chalk cleaner": 20_00,
    "Brightener": 18_00,
}
# Percent of the usual minutes, for every service; levels that are not listed take the usual minutes.
FACTORS = {
    (FactorOf.STOREYS, "3"): 125,
    (FactorOf.STOREYS, "4"): 150,
    (FactorOf.ACCESS, "easy"): 95,
    (FactorOf.ACCESS, "tight"): 120,
    (FactorOf.SOIL, "light"): 95,
    (FactorOf.SOIL, "heavy"): 120,
}
# For services that take chalk off: bad chalk is brushed by hand, which takes about half as long again.
CHALK_FACTORS = {(FactorOf.CHALK, "4"): 130, (FactorOf.CHALK, "5"): 160}


@dataclass(frozen=True, slots=True)
class DefaultService:
    """A service with its first rate: cents and units as on a rate card, units per hour of a two-person crew."""

    code: str
    name: str
    name_es: str
    unit: Unit
    interval_months: int | None
    price_cents_per_100_units: int
    minimum_price_cents: int
    materials_cents_per_100_units: int
    setup_minutes: int
    units_per_crew_hour: int
    units_per_crew_hour_high: int
    cautions: tuple[str, ...]
    skills: tuple[str, ...] = field(default=())
    removes_chalk: bool = False
    volumes_ml_per_100_units: tuple[tuple[str, int], ...] = ()  # of MATERIALS

    @property
    def factors(self) -> dict[tuple[FactorOf, str], int]:
        return {**FACTORS, **CHALK_FACTORS} if self.removes_chalk else FACTORS

    @property
    def needs_walkthrough(self) -> bool:
        """Walls are looked at before they are washed; a gutter or a drive is not a wall."""
        return self.unit == Unit.WALL_SQFT


SERVICES = (
    DefaultService(
        "house_wash", "House wash", "Lavado de casa", Unit.WALL_SQFT, 12,
        26_00, 250_00, 20, 20, 1600, 1200,
        (
            "Low pressure only; never a pressure wand on chalked vinyl.",
        ),
        volumes_ml_per_100_units=(("Hypochlorite stock", 700), ("Surfactant", 40)),
    ),
    DefaultService(
        "chalk_removal", "Chalk removal", "Eliminación de tiza", Unit.WALL_SQFT, 48,
        125_00, 250_00, 72, 20, 200, 120,
        (
            "Gloves and goggles: the cleaner is caustic.",
            "Never an acid where hypochlorite was used and not rinsed.",
        ),
        removes_chalk=True,
        volumes_ml_per_100_units=(("Chalk cleaner", 1000),),
    ),
    DefaultService(
        "roof_wash", "Roof wash", "Lavado de techo", Unit.FLAT_SQFT, 48,
        38_00, 350_00, 30, 25, 2000, 1600,
        (
            "Stay off a wet roof; work from the ladder or the ground.",
            "Strong hypochlorite: protect plants and downspouts, keep people and pets away.",
        ),
        skills=("roof", "ladder"),
        volumes_ml_per_100_units=(("Hypochlorite stock", 3500),),
    ),
    DefaultService(
        "concrete", "Concrete cleaning", "Limpieza de concreto", Unit.FLAT_SQFT, 18,
        18_00, 175_00, 80, 15, 1600, 1600,
        ("Watch hoses on stairs and drives.",),
        skills=("surface_cleaner",),
    ),
    DefaultService(
        "gutter_clearing", "Gutter clearing", "Limpieza de canaletas", Unit.LINEAR_FT, 6,
        140_00, 150_00, 0, 10, 220, 160,
        (),
        skills=("ladder",),
    ),
    DefaultService(
        "gutter_brightening", "Gutter brightening", "Abrillantado de canaletas", Unit.LINEAR_FT, 24,
        170_00, 200_00, 12_00, 15, 90, 65,
        ("Test spot first; the cleaner can strip old paint.",),
        skills=("ladder",),
    ),
    DefaultService(
        "deck_wash", "Deck or fence wash", "Lavado de terraza o cerca", Unit.FLAT_SQFT, 24,
        85_00, 200_00, 25, 15, 375, 300,
        ("Low pressure; wood fibres lift.", "Rinse the cleaner fully before the brightener goes on."),
        volumes_ml_per_100_units=(("Brightener", 1000),),
    ),
    DefaultService(
        "windows_outside", "Windows outside", "Ventanas por fuera", Unit.PANE, 6,
        600_00, 150_00, 0, 15, 36, 28,
        ("Wet paths are slippery.",),
        skills=("pure_water",),
    ),
)  # fmt: skip
