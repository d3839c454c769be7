"""What OpenStreetMap tags mean for a crew's truck: may it drive here, which way, how fast, and only to a door?

Keys and values are those of the OpenStreetMap wiki ("Key:access", "Key:oneway", "Key:maxspeed", "Key:barrier").
The most special access key wins: motorcar, motor_vehicle, vehicle, access.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass

from routing.roads.domain.speeds import (
    CLASS_KMH,
    CLASS_NUMBER,
    LEAST_KMH,
    MOST_KMH,
    SERVICE_KMH,
    SMOOTHNESS_KMH,
    SURFACE_KMH,
    TRACKTYPE_KMH,
    WALK_KMH,
    ZONE_KMH,
)

Tags = Mapping[str, str]

ACCESS_KEYS = ("motorcar", "motor_vehicle", "vehicle", "access")
SHUT = frozenset(
    {"no", "agricultural", "forestry", "emergency", "official", "military", "psv", "bus", "foot", "bicycle"}
)
TO_THE_DOOR = frozenset({"private", "destination", "customers", "delivery", "permit", "residents", "discouraged"})
MORNING_HOUR, AFTERNOON_HOUR = 8, 16  # a rule that holds between these binds crews; our choice, no source
LAST_MILE_CLASSES = frozenset({"service", "track"})
RING = frozenset({"roundabout", "circular"})
YES, NO, AGAINST = frozenset({"yes", "true", "1"}), frozenset({"no", "false", "0"}), frozenset({"-1", "reverse"})

OPEN_BARRIERS = frozenset(
    {"no", "entrance", "cattle_grid", "toll_booth", "border_control", "height_restrictor", "kerb", "sally_port",
     "bump_gate", "checkpoint", "coupure"}
)  # fmt: skip
GATES = frozenset({"gate", "lift_gate", "swing_gate", "sliding_gate", "hampshire_gate", "sliding_beam"})

WAY_KEYS = frozenset(
    {"highway", "route", "junction", "area", "service", "surface", "smoothness", "tracktype", "duration", "oneway",
     "oneway:motor_vehicle", "oneway:motorcar", "oneway:vehicle", "maxspeed", "maxspeed:forward", "maxspeed:backward",
     "zone:maxspeed", "source:maxspeed", "maxspeed:type"}
    | {f"{key}{end}" for key in ACCESS_KEYS for end in ("", ":forward", ":backward")}
)  # fmt: skip
"""The keys that `way_rules` looks at; ways that agree in these have the same rules."""


@dataclass(frozen=True, slots=True)
class WayRules:
    """How a way is driven. A speed of 0 means that it may not be driven in that direction.

    `may_join` are service ways of no tagged kind and open to all: a short one may join two streets, such as the two
    carriageways of an avenue. `ferry_minutes` is the tagged duration of the whole crossing, 0 where there is none.
    """

    road_class: int
    forward_kmh: float
    backward_kmh: float
    last_mile: bool
    may_join: bool
    is_ring: bool
    ferry_minutes: float


@dataclass(frozen=True, slots=True)
class Ignored:
    """A way that no car drives, with the reason as the summary prints it."""

    reason: str


def way_rules(tags: Tags) -> WayRules | Ignored:
    """The rules of a way with a `highway` or `route` tag."""
    name = "ferry" if tags.get("route") == "ferry" else tags.get("highway", "")
    if name not in CLASS_KMH:
        return Ignored(f"not for cars: {name}" if name in KNOWN_OTHERS else "not for cars: other")
    if tags.get("area") == "yes":
        return Ignored("an area, not a line")
    if tags.get("service") == "emergency_access" or tags.get("smoothness") == "impassable":
        return Ignored("not for cars: emergency access or impassable")
    access = _access(tags)
    if name == "ferry" and (access is None or access in SHUT):
        return Ignored("ferry that carries no cars")
    if access in SHUT:
        return Ignored("closed to cars")
    ahead, back = directions(tags, name)
    limit_ahead, limit_back = _limit(tags, ":forward"), _limit(tags, ":backward")
    usual = _usual_kmh(tags, name)
    if not (ahead or back):
        return Ignored("closed to cars")
    return WayRules(
        road_class=CLASS_NUMBER[name],
        forward_kmh=_capped(limit_ahead or usual, tags) if ahead else 0.0,
        backward_kmh=_capped(limit_back or usual, tags) if back else 0.0,
        last_mile=name in LAST_MILE_CLASSES or access in TO_THE_DOOR,
        may_join=name == "service" and "service" not in tags and access not in TO_THE_DOOR,
        is_ring=tags.get("junction") in RING,
        ferry_minutes=duration_minutes(tags.get("duration", "")) if name == "ferry" else 0.0,
    )


KNOWN_OTHERS = frozenset(
    {"footway", "path", "cycleway", "pedestrian", "steps", "bridleway", "construction", "proposed", "corridor",
     "platform", "busway", "raceway", "elevator"}
)  # fmt: skip


def directions(tags: Tags, road_class: str) -> tuple[bool, bool]:
    """Whether cars may drive (along, against) the way's own direction."""
    oneway = next((tags[key] for key in ONEWAY_KEYS if key in tags), "")
    implied = road_class == "motorway" or tags.get("junction") in RING
    if oneway in AGAINST:
        ahead, back = False, True
    elif oneway in YES or (implied and oneway not in NO):
        ahead, back = True, False
    else:
        ahead, back = True, True
    return ahead and _open(tags, ":forward"), back and _open(tags, ":backward")


ONEWAY_KEYS = ("oneway:motorcar", "oneway:motor_vehicle", "oneway:vehicle", "oneway")


def speed_kmh(text: str) -> float | None:
    """A `maxspeed` value in km/h: "50", "30 mph", "DE:zone:30", "FI:urban", "none", "walk".

    None where it says no number ("signals", "variable", nonsense). Of a list the lowest counts.
    """
    found = [speed for part in re.split(r"[;|,]", text) if (speed := _one_speed(part.strip())) is not None]
    return min(found) if found else None


def _one_speed(text: str) -> float | None:
    if text in ("none", "unlimited"):
        return MOST_KMH
    if text == "walk":
        return WALK_KMH
    if match := re.fullmatch(r"(\d+(?:\.\d+)?)\s*(km/h|kmh|kph|mph|knots)?", text):
        factor = {"mph": 1.609344, "knots": 1.852}.get(match[2] or "", 1.0)
        speed = float(match[1]) * factor
        return speed if LEAST_KMH <= speed <= 200.0 else None
    if match := re.fullmatch(r"(?:[A-Z]{2}:)?(?:zone:?)?(\d+)", text):
        return _one_speed(match[1])
    return ZONE_KMH.get(text) or ZONE_KMH.get(text.rpartition(":")[2])


def duration_minutes(text: str) -> float:
    """Minutes of a `duration`: "35", "1:20", "0:35:30" or ISO 8601 "PT1H20M"; 0 where it cannot be read."""
    if match := re.fullmatch(r"(\d+):(\d{1,2})(?::(\d{1,2}))?", text):
        return int(match[1]) * 60 + int(match[2]) + int(match[3] or 0) / 60
    if match := re.fullmatch(r"P(?:(\d+)D)?(?:T(?:(\d+)H)?(?:(\d+)M)?(?:(\d+)S)?)?", text):
        days, hours, minutes, seconds = (int(part or 0) for part in match.groups())
        return days * 1440 + hours * 60 + minutes + seconds / 60
    return float(text) if re.fullmatch(r"\d+(\.\d+)?", text) else 0.0


class NodeKind:
    """What a node does to driving, as bits."""

    SHUT = 1  # a barrier that no car passes
    TO_THE_DOOR = 2  # a gate for those who live or work behind it
    GATE = 4  # a gate that has to be opened
    SIGNALS = 8


def node_kind(tags: Tags) -> int:
    """The bits of NodeKind for a node's tags."""
    kind = NodeKind.SIGNALS if tags.get("highway") == "traffic_signals" else 0
    barrier, access = tags.get("barrier", ""), _access(tags)
    if access in SHUT:
        return kind | NodeKind.SHUT
    if barrier in GATES:
        kind |= NodeKind.GATE
    elif barrier and barrier not in OPEN_BARRIERS and access is None:
        return kind | NodeKind.SHUT
    return kind | NodeKind.TO_THE_DOOR if access in TO_THE_DOOR else kind


def rule_kind(tags: Tags) -> tuple[str, str]:
    """("no" or "only", "") for a turn rule that binds cars; ("", reason) for any other."""
    kind = tags.get("restriction:motorcar") or tags.get("restriction:motor_vehicle") or tags.get("restriction", "")
    if not kind:
        conditional = any(key.endswith(":conditional") for key in tags)
        return "", "turn rule for some hours only" if conditional else "turn rule for other vehicles"
    if {"motorcar", "motor_vehicle", "motorcars"} & set(re.split(r"[;,\s]+", tags.get("except", ""))):
        return "", "turn rule that excepts cars"
    if ("hour_on" in tags or "day_on" in tags) and not _binds_the_working_day(tags):
        return "", "turn rule for some hours only"
    start = kind.partition("_")[0]
    return (start, "") if start in ("no", "only") else ("", "turn rule of unknown kind")


def _binds_the_working_day(tags: Tags) -> bool:
    """Whether a rule with `hour_on`, `hour_off` and `day_on` holds from Monday on and from morning to afternoon."""
    hours = [re.match(r"\d{1,2}", tags.get(key, "")) for key in ("hour_on", "hour_off")]
    on, off = (int(hour[0]) if hour else None for hour in hours)
    if on is None or off is None:
        return False
    return tags.get("day_on", "Mo").startswith("Mo") and on <= MORNING_HOUR and off >= AFTERNOON_HOUR


def _access(tags: Tags) -> str | None:
    return next((tags[key] for key in ACCESS_KEYS if key in tags), None)


def _open(tags: Tags, end: str) -> bool:
    value = next((tags[key + end] for key in ACCESS_KEYS if key + end in tags), "")
    return value not in SHUT


def _limit(tags: Tags, end: str) -> float | None:
    keys = (f"maxspeed{end}", "maxspeed", "zone:maxspeed", "maxspeed:type", "source:maxspeed")
    return next((speed for key in keys if key in tags and (speed := speed_kmh(tags[key])) is not None), None)


def _usual_kmh(tags: Tags, name: str) -> float:
    if name == "track":
        return TRACKTYPE_KMH.get(tags.get("tracktype", ""), CLASS_KMH[name])
    return SERVICE_KMH.get(tags.get("service", ""), CLASS_KMH[name]) if name == "service" else CLASS_KMH[name]


def _capped(kmh: float, tags: Tags) -> float:
    surface = SURFACE_KMH.get(tags.get("surface", ""), MOST_KMH)
    return max(LEAST_KMH, min(kmh, surface, SMOOTHNESS_KMH.get(tags.get("smoothness", ""), MOST_KMH)))
