"""How fast cars drive: by class of road where no limit is tagged, by surface, and by hour.

CLASS_KMH are the defaults of the Valhalla routing engine (`lua/graph.lua`, table `default_speed`, by functional
class) for motorway to service. Links are driven at `LINK_SHARE` of their road; living streets, tracks and ferries
without a duration are our choice, no source. SERVICE_KMH, SURFACE_KMH, SMOOTHNESS_KMH and TRACKTYPE_KMH are our
choice, no source, in the order in which open routing profiles rank them.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

LINK_SHARE = 0.75
MOST_KMH = 130.0  # "none": the speed that German law recommends where no limit is set (verified: no; from memory)
WALK_KMH = 7.0
LEAST_KMH = 5.0

CLASS_KMH: dict[str, float] = {
    "motorway": 105.0, "trunk": 90.0, "primary": 75.0, "secondary": 60.0, "tertiary": 50.0, "unclassified": 40.0,
    "residential": 35.0, "road": 35.0, "living_street": 10.0, "service": 20.0, "track": 12.0, "ferry": 15.0,
}  # fmt: skip
LINKS = ("motorway", "trunk", "primary", "secondary", "tertiary")
CLASS_KMH |= {f"{road}_link": LINK_SHARE * CLASS_KMH[road] for road in LINKS}
CLASSES = tuple(CLASS_KMH)
"""The road classes by number, as the graph stores them."""
CLASS_NUMBER = {name: number for number, name in enumerate(CLASSES)}

SURFACE_KMH: dict[str, float] = {
    "paving_stones": 60.0, "sett": 40.0, "unhewn_cobblestone": 30.0, "cobblestone": 30.0, "cobblestone:flattened": 40.0,
    "compacted": 60.0, "fine_gravel": 50.0, "gravel": 40.0, "pebblestone": 40.0, "unpaved": 40.0, "ground": 30.0,
    "earth": 30.0, "dirt": 30.0, "grass": 15.0, "grass_paver": 30.0, "sand": 15.0, "mud": 10.0, "wood": 30.0,
}  # fmt: skip
SMOOTHNESS_KMH = {"bad": 40.0, "very_bad": 20.0, "horrible": 10.0, "very_horrible": 5.0}
SERVICE_KMH = {"driveway": 10.0, "parking_aisle": 10.0, "drive-through": 10.0}
TRACKTYPE_KMH = {"grade1": 40.0, "grade2": 25.0, "grade3": 15.0, "grade4": 10.0, "grade5": 5.0}

# What words in place of a number mean (km/h): "FI:rural", "GB:nsl_single", "urban". National rules, from memory.
ZONE_KMH = {
    "urban": 50.0, "rural": 90.0, "trunk": 100.0, "motorway": 120.0, "living_street": 10.0, "walk": WALK_KMH,
    "bicycle_road": 30.0, "school": 30.0, "nsl_restricted": 48.28, "nsl_single": 96.56, "nsl_dual": 112.65,
    "DE:rural": 100.0, "DE:motorway": MOST_KMH, "FI:rural": 80.0, "FI:trunk": 100.0, "GB:motorway": 112.65,
    "FR:rural": 80.0, "FR:motorway": 130.0, "IT:motorway": 130.0, "AT:rural": 100.0, "AT:motorway": 130.0,
}  # fmt: skip

GROUPS = ("motorway", "main", "street", "last_mile")
"""Road classes that traffic slows alike."""
_GROUP_OF = {
    "motorway": 0, "motorway_link": 0, "trunk": 0, "trunk_link": 0,
    "primary": 1, "primary_link": 1, "secondary": 1, "secondary_link": 1,
    "service": 3, "track": 3, "living_street": 3,
}  # fmt: skip
GROUP_BY_CLASS = tuple(-1 if name == "ferry" else _GROUP_OF.get(name, 2) for name in CLASSES)
"""The group of each class number; -1 for ferries, which keep their timetable."""

_RANKED = ("", "residential", "tertiary", "secondary", "primary", "trunk", "motorway")
RANKS = len(_RANKED)
RANK_BY_CLASS = tuple(
    0 if name in ("service", "track") else next((k for k in range(2, RANKS) if name.startswith(_RANKED[k])), 1)
    for name in CLASSES
)
"""The rank of each class number, below RANKS: where two roads meet the lesser one gives way."""


MOST_HOURS = 24
LONGEST_NAME = 40


@dataclass(frozen=True, slots=True)
class HourClass:
    """Hours of a working day with like traffic.

    `percent` is the speed that traffic leaves of the free one, for each of GROUPS. `from_minute` is the local minute
    of the day at which these hours begin.
    """

    name: str
    from_minute: int
    percent: tuple[int, int, int, int]

    def __post_init__(self) -> None:
        if not 0 < len(self.name) <= LONGEST_NAME:
            raise ValueError(f"name must have 1 to {LONGEST_NAME} letters, has {len(self.name)}")
        if not 0 <= self.from_minute < 1440:
            raise ValueError(f"from_minute must lie within the day, is {self.from_minute}")
        if any(not 10 <= share <= 150 for share in self.percent):
            raise ValueError(f"percent must be 10 to 150, is {self.percent}")

    @property
    def key(self) -> str:
        """Names the speeds, not the hours: classes with the same percents share what was computed."""
        return "-".join(map(str, self.percent))


class TableFault(StrEnum):
    """Why hours make no table; the words are those of the pages."""

    EMPTY = "empty"
    TOO_MANY = "too many"
    SAME_NAME = "same name"
    SAME_BEGINNING = "same beginning"


def table_fault(hours: Sequence[HourClass]) -> tuple[TableFault, HourClass | None] | None:
    """What keeps the hours from being a table, with the one that is too much; None where nothing does."""
    if not hours:
        return TableFault.EMPTY, None
    if len(hours) > MOST_HOURS:
        return TableFault.TOO_MANY, hours[MOST_HOURS]
    names, beginnings = set(), set()
    for hour in hours:
        if hour.name.casefold() in names:
            return TableFault.SAME_NAME, hour
        if hour.from_minute in beginnings:
            return TableFault.SAME_BEGINNING, hour
        names.add(hour.name.casefold())
        beginnings.add(hour.from_minute)
    return None


FREE = HourClass("free", 0, (100, 100, 100, 100))
DEFAULT_HOURS = (
    HourClass("night", 0, (100, 100, 100, 100)),
    HourClass("morning", 390, (80, 75, 90, 100)),
    HourClass("midday", 540, (95, 85, 95, 100)),
    HourClass("evening", 930, (75, 70, 90, 100)),
    HourClass("late", 1110, (100, 95, 100, 100)),
)
"""Common practice, no source: the owner changes them, and booked drive times will tell."""


def hour_class_at(hours: tuple[HourClass, ...], minute: int) -> HourClass:
    """The class in force at a local minute; minutes beyond the day wrap around. `hours` hold at least one."""
    ordered = sorted(hours, key=lambda hour: hour.from_minute)
    started = [hour for hour in ordered if hour.from_minute <= minute % 1440]
    return started[-1] if started else ordered[-1]
