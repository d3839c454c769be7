"""A rate card as rows of plain figures: read, checked row by row, compared.

Each row has a part: a service's `rate`, a `factor` of its minutes, a `material` with its cost, the `use` of a material
by a service, a `surcharge`. The same rows are the card's CSV, its JSON and the body of its API.
"""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass

from pricing.catalogue.domain.terms import REACHED, Access, FactorKind, Soil, SurchargeKind, SurchargeWhen

Key = tuple[str, ...]
CardRow = Mapping[str, str | int]
CardContent = Mapping[Key, CardRow]

MOST = 1_000_000
COLUMNS: Mapping[str, tuple[str, ...]] = {
    "rate": (
        "service", "price_cents_per_100_units", "minimum_price_cents", "materials_cents_per_100_units",
        "setup_minutes", "units_per_crew_hour", "units_per_crew_hour_high",
    ),
    "factor": ("service", "kind", "level", "percent"),
    "material": ("name", "cost_cents_per_gallon"),
    "use": ("service", "name", "volume_ml_per_100_units"),
    "surcharge": ("name", "service", "kind", "figure", "when", "level"),
}  # fmt: skip
ALL_COLUMNS = ("part", *dict.fromkeys(column for columns in COLUMNS.values() for column in columns))
KEYS = {
    "rate": ("service",),
    "factor": ("service", "kind", "level"),
    "material": ("name",),
    "use": ("service", "name"),
    "surcharge": ("name",),
}
BOUNDS = {
    "price_cents_per_100_units": (0, MOST),
    "minimum_price_cents": (0, MOST),
    "materials_cents_per_100_units": (0, MOST),
    "setup_minutes": (0, 600),
    "units_per_crew_hour": (1, 100_000),
    "units_per_crew_hour_high": (1, 100_000),
    "percent": (10, 1000),
    "cost_cents_per_gallon": (0, MOST),
    "volume_ml_per_100_units": (0, MOST),
    "figure": (0, MOST),
}
LONGEST = {"name": 60, "level": 20}
MOST_PERCENT = 1000


@dataclass(frozen=True, slots=True)
class CardFault:
    """What is wrong in one row, by its number in the file; the column is empty where the row as a whole is."""

    row: int
    column: str
    problem: str


@dataclass(frozen=True, slots=True)
class CardDifference:
    """One figure of a row before and after; None where the row is new or gone."""

    part: str
    of: str
    column: str
    before: str | int | None
    after: str | int | None


def read_rows(
    rows: Iterable[tuple[int, Mapping[str, object]]], services: Collection[str]
) -> tuple[dict[Key, CardRow], list[CardFault]]:
    """A card's content from numbered rows, and every fault; the content counts only where there is none."""
    content: dict[Key, CardRow] = {}
    numbers: dict[Key, int] = {}
    faults: list[CardFault] = []
    for number, raw in rows:
        row, wrong = _read_row(raw, services)
        faults += [CardFault(number, column, problem) for column, problem in wrong]
        if wrong:
            continue
        key = key_of(row)
        if key in content:
            faults.append(CardFault(number, "", f"This says the same thing as row {numbers[key]} does."))
        content[key], numbers[key] = row, number
    faults += [CardFault(numbers[key], column, problem) for key, column, problem in _left_hanging(content)]
    if not any(key[0] == "rate" for key in content) and not faults:
        faults.append(CardFault(0, "", "A card needs the rate of one service at least."))
    return content, sorted(faults, key=lambda fault: (fault.row, fault.column))


def key_of(row: CardRow) -> Key:
    """What a row is about: its part, and what tells it from others of the part."""
    part = str(row["part"])
    return (part, *(str(row[column]) for column in KEYS[part]))


def in_order(content: CardContent) -> list[CardRow]:
    """The rows by part and name, always the same for the same content."""
    parts = list(COLUMNS)
    return [content[key] for key in sorted(content, key=lambda key: (parts.index(key[0]), key))]


def differences(before: CardContent, after: CardContent) -> list[CardDifference]:
    """Every figure that differs, in the order of the rows."""
    found: list[CardDifference] = []
    merged = {**before, **after}
    for row in in_order(merged):
        key = key_of(row)
        old, new = before.get(key, {}), after.get(key, {})
        found += [
            CardDifference(key[0], ", ".join(key[1:]), column, old.get(column), new.get(column))
            for column in COLUMNS[key[0]]
            if old.get(column) != new.get(column)
        ]
    return found


def _read_row(raw: Mapping[str, object], services: Collection[str]) -> tuple[dict[str, str | int], list[Key]]:
    part = str(raw.get("part") or "").strip()
    if part not in COLUMNS:
        return {}, [("part", f"A part is one of {', '.join(COLUMNS)}.")]
    row: dict[str, str | int] = {"part": part}
    wrong: list[Key] = []
    for column in COLUMNS[part]:
        value = _cell(raw.get(column), column)
        if isinstance(value, _Wrong):
            wrong.append((column, value.problem))
        else:
            row[column] = value
    others = [c for c, v in raw.items() if c != "part" and c not in COLUMNS[part] and str(v or "").strip()]
    wrong += [(str(column), f"A {part} has no such column.") for column in others]
    if not wrong:
        wrong += _meaning(part, row, services)
    return row, wrong


@dataclass(frozen=True, slots=True)
class _Wrong:
    problem: str


def _cell(value: object, column: str) -> str | int | _Wrong:
    text = "" if value is None else " ".join(str(value).split())
    if column not in BOUNDS:
        longest = LONGEST.get(column, 30)
        return _Wrong(f"At most {longest} characters.") if len(text) > longest else text
    least, most = BOUNDS[column]
    if not (text.isascii() and text.isdecimal() and len(text) <= len(str(MOST)) and least <= int(text) <= most):
        return _Wrong(f"Write a whole number from {least} to {most}.")
    return int(text)


def _meaning(part: str, row: Mapping[str, str | int], services: Collection[str]) -> list[Key]:
    wrong: list[Key] = []
    service = row.get("service", "")
    if "service" in row and service not in services and not (part == "surcharge" and not service):
        wrong.append(("service", "No service has this code."))
    if "name" in row and not row["name"]:
        wrong.append(("name", "A name is missing."))
    if part == "factor":
        wrong += _factor_faults(str(row["kind"]), str(row["level"]))
    if part == "surcharge":
        wrong += _surcharge_faults(str(row["kind"]), int(row["figure"]), str(row["when"]), str(row["level"]))
    return wrong


LEVELS: Mapping[str, Collection[str]] = {
    FactorKind.STOREYS: ("1", "2", "3", "4"),
    FactorKind.ACCESS: tuple(Access),
    FactorKind.SOIL: tuple(Soil),
    FactorKind.CHALK: ("0", "1", "2", "3", "4", "5"),
}


def _factor_faults(kind: str, level: str) -> list[Key]:
    if kind not in list(FactorKind):
        return [("kind", f"A factor is by one of {', '.join(FactorKind)}.")]
    return _level_faults(kind, level)


def _surcharge_faults(kind: str, figure: int, when: str, level: str) -> list[Key]:
    if kind not in list(SurchargeKind):
        return [("kind", "A surcharge is fixed or percent.")]
    if kind == SurchargeKind.PERCENT and figure > MOST_PERCENT:
        return [("figure", f"A percentage is at most {MOST_PERCENT}.")]
    if when not in list(SurchargeWhen):
        return [("when", f"When it applies is one of {', '.join(SurchargeWhen)}.")]
    if when == SurchargeWhen.ALWAYS:
        return [("level", "What always applies has no level.")] if level else []
    if when in REACHED and not (level.isascii() and level.isdecimal()):
        return [("level", "Write the least whole number from which it applies.")]
    return [] if when == SurchargeWhen.DRIVING else _level_faults(when, level)


def _level_faults(kind: str, level: str) -> list[Key]:
    levels = LEVELS.get(kind, ())
    if levels and level not in levels:
        return [("level", f"A level of {kind} is one of {', '.join(levels)}.")]
    return [] if level else [("level", "A level is missing.")]


def _left_hanging(content: CardContent) -> Iterable[tuple[Key, str, str]]:
    """Rows that speak of a rate or a material that is not on the card."""
    for key, row in content.items():
        if key[0] in ("factor", "use") and ("rate", str(row["service"])) not in content:
            yield key, "service", "This service has no rate on the card."
        if key[0] == "use" and ("material", str(row["name"])) not in content:
            yield key, "name", "This material is not on the card."
