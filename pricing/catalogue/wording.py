"""A rate card in the words of its owner: levels, conditions, amounts, and what differs between two cards."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _

from pricing.catalogue.choices import Unit
from pricing.catalogue.domain import FactorKind, SurchargeKind, SurchargeWhen
from pricing.catalogue.domain.card_rows import COLUMNS, CardContent, CardRow, in_order, key_of
from pricing.catalogue.domain.factor_rules import EVERY, FactorRule, rules_of
from shared.web.words import hours_words, money_words, volume_words


@dataclass(frozen=True, slots=True)
class CardTongue:
    """What is needed to speak of a card: names and units of services by their code, and the currency."""

    names: Mapping[str, str]
    units: Mapping[str, str]
    currency: str

    def name(self, service: str) -> str:
        return self.names.get(service, service) if service != EVERY else _("every service")

    def per_hundred(self, service: str) -> str:
        return per_hundred_words(self.units.get(service, ""))

    def money(self, cents: str | int) -> str:
        return money_words(int(cents), self.currency)


def per_hundred_words(unit: str) -> str:
    """`per 100 sq ft of wall`."""
    words: Mapping[str, str] = {
        Unit.WALL_SQFT: _("per 100 sq ft of wall"),
        Unit.FLAT_SQFT: _("per 100 sq ft"),
        Unit.LINEAR_FT: _("per 100 linear ft"),
        Unit.PANE: _("per 100 panes"),
    }
    return words.get(unit, _("per 100"))


def level_words(kind: str, level: str) -> str:
    """A level of a factor: `3 storeys`, `tight access`, `vinyl`."""
    if kind == FactorKind.STOREYS:
        return _("1 storey") if level == "1" else _("%(number)s storeys") % {"number": level}
    words: Mapping[str, str] = {
        FactorKind.ACCESS: _("%(level)s access"),
        FactorKind.SOIL: _("%(level)s soil"),
        FactorKind.CHALK: _("chalk reading %(level)s"),
    }
    known = {
        "easy": _("easy"), "usual": _("usual"), "tight": _("tight"), "light": _("light"), "heavy": _("heavy"),
    }  # fmt: skip
    spoken = known.get(level, level.replace("_", " "))
    return words.get(kind, "%(level)s") % {"level": spoken}


def when_words(when: str, level: str) -> str:
    """When a surcharge applies: `from 3 storeys on`, `on vinyl`."""
    if when == SurchargeWhen.ALWAYS:
        return _("always")
    words: Mapping[str, str] = {
        SurchargeWhen.STOREYS: _("from %(level)s on"),
        SurchargeWhen.CHALK: _("from %(level)s on"),
        SurchargeWhen.DRIVING: _("from %(level)s of driving on"),
        SurchargeWhen.MATERIAL: _("on %(level)s"),
    }
    spoken = hours_words(int(level)) if when == SurchargeWhen.DRIVING else level_words(when, level)
    return words.get(when, _("at %(level)s")) % {"level": spoken}


def amount_words(kind: str, figure: str | int, tongue: CardTongue) -> str:
    """`15 % of the card's price` or `$25.00`."""
    if kind == SurchargeKind.PERCENT:
        return _("%(percent)s %% of the card's price") % {"percent": figure}
    return tongue.money(figure)


def changes_words(before: CardContent, after: CardContent, tongue: CardTongue) -> list[str]:
    """What the second card says otherwise than the first, a sentence for each figure, or for each row that is new or
    gone."""
    merged = {**before, **after}
    found: list[str] = []
    for row in in_order(merged):
        if row["part"] != "factor":
            found += _row_changes(before.get(key_of(row)), after.get(key_of(row)), tongue)
    return found + _factor_changes(before, after, tongue)


def _row_changes(old: CardRow | None, new: CardRow | None, tongue: CardTongue) -> list[str]:
    if old is None and new is not None:
        return [_("New: %(row)s") % {"row": _row_words(new, tongue)}]
    if new is None and old is not None:
        return [_("No longer: %(row)s") % {"row": _row_words(old, tongue)}]
    if old is None or new is None or old == new:
        return []
    if new["part"] == "surcharge":
        return [f"{_row_words(old, tongue)} → {_row_words(new, tongue)}"]
    return [
        f"{_subject(new, tongue)}, {column_words(column, tongue.units.get(str(new.get('service')), ''))}: "
        f"{_figure(column, old[column], tongue)} → {_figure(column, new[column], tongue)}"
        for column in COLUMNS[str(new["part"])]
        if old[column] != new[column]
    ]


def _subject(row: CardRow, tongue: CardTongue) -> str:
    if row["part"] == "material":
        return str(row["name"])
    if row["part"] == "use":
        return _("%(service)s, %(material)s") % {
            "service": tongue.name(str(row["service"])),
            "material": row["name"],
        }
    return tongue.name(str(row["service"]))


def _row_words(row: CardRow, tongue: CardTongue) -> str:
    if row["part"] == "surcharge":
        return _("surcharge %(name)s, %(amount)s, %(service)s, %(when)s") % {
            "name": row["name"],
            "amount": amount_words(str(row["kind"]), row["figure"], tongue),
            "service": tongue.name(str(row["service"])),
            "when": when_words(str(row["when"]), str(row["level"])),
        }
    unit = tongue.units.get(str(row.get("service")), "")
    figures = [
        f"{column_words(column, unit)} {_figure(column, row[column], tongue)}"
        for column in COLUMNS[str(row["part"])]
        if column not in ("service", "name")
    ]
    return f"{_subject(row, tongue)}, {', '.join(figures)}"


def column_words(column: str, unit: str = "") -> str:
    """What a figure of a card is called: `price per 100 sq ft of wall`."""
    words = {
        "price_cents_per_100_units": _("price %(per)s"),
        "minimum_price_cents": _("least charge"),
        "materials_cents_per_100_units": _("small things %(per)s"),
        "setup_minutes": _("set-up"),
        "units_per_crew_hour": _("done in an hour on one storey"),
        "units_per_crew_hour_high": _("done in an hour on two storeys or more"),
        "cost_cents_per_gallon": _("cost a gallon"),
        "volume_ml_per_100_units": _("taken %(per)s"),
    }
    return words[column] % {"per": per_hundred_words(unit)} if "%(per)s" in words[column] else words[column]


def _figure(column: str, value: str | int, tongue: CardTongue) -> str:
    if "cents" in column:
        return tongue.money(value)
    if column == "volume_ml_per_100_units":
        return volume_words(int(value))
    if column == "setup_minutes":
        return hours_words(int(value))
    return f"{int(value):,}"


def _factor_changes(before: CardContent, after: CardContent, tongue: CardTongue) -> list[str]:
    """Factors that changed alike are one sentence, with the services that they are for."""
    alike: dict[tuple[str, str, object, object], list[str]] = {}
    for row in part_rows({**before, **after}, "factor"):
        old, new = (content.get(key_of(row), {}).get("percent") for content in (before, after))
        if old != new:
            alike.setdefault((str(row["kind"]), str(row["level"]), old, new), []).append(str(row["service"]))
    everyone = {*services_of(before), *services_of(after)}
    return [_factor_change(*change, services, everyone, tongue) for change, services in alike.items()]


def _factor_change(
    kind: str, level: str, old: object, new: object, services: list[str], everyone: set[str], tongue: CardTongue
) -> str:
    is_all = len(services) > 1 and set(services) == everyone
    who = tongue.name(EVERY) if is_all else ", ".join(tongue.name(code) for code in services)
    subject = f"{level_words(kind, level)}, {who}"
    if old is None:
        return _("New: %(row)s") % {"row": percent_of_minutes(subject, new)}
    if new is None:
        return _("No longer: %(row)s") % {"row": percent_of_minutes(subject, old)}
    return _("%(rule)s, until now %(percent)s %%") % {"rule": percent_of_minutes(subject, new), "percent": old}


def percent_of_minutes(subject: str, percent: object) -> str:
    """`3 storeys, every service: 125 % of the usual minutes`."""
    return _("%(subject)s: %(percent)s %% of the usual minutes") % {"subject": subject, "percent": percent}


def card_rules(content: CardContent) -> list[FactorRule]:
    """The factors of a card as rules."""
    return rules_of(part_rows(content, "factor"), services_of(content))


def services_of(content: CardContent) -> Sequence[str]:
    """Codes of the services that have a rate."""
    return [str(row["service"]) for row in part_rows(content, "rate")]


def part_rows(content: CardContent, part: str) -> list[CardRow]:
    """The rows of one part, in their order."""
    return [row for row in in_order(content) if row["part"] == part]
