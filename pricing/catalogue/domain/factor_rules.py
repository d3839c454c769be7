"""A card's factors as its owner says them: once for every service, with exceptions, and back to a row for each service.

`Three storeys: 125 % for every service, 140 % for roofs` are two rules and as many rows as there are services.
"""

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from pricing.catalogue.domain.card_rows import CardRow
from pricing.catalogue.domain.terms import Access, FactorKind, Soil

EVERY = ""  # in the place of a service
KINDS = list(FactorKind)
IN_ORDER = [*Access, *Soil]


@dataclass(frozen=True, slots=True)
class FactorRule:
    """`percent` of the usual minutes at a level, for one service or, where `service` is empty, for every one."""

    kind: str
    level: str
    percent: int
    service: str = EVERY


def rules_of(rows: Iterable[CardRow], services: Sequence[str]) -> list[FactorRule]:
    """The fewest rules of factor rows for the services with a rate: a level that every service has becomes a rule for
    all at the percentage that most of them have."""
    levels: dict[tuple[str, str], dict[str, int]] = {}
    for row in rows:
        level = levels.setdefault((str(row["kind"]), str(row["level"])), {})
        level[str(row["service"])] = int(row["percent"])
    return [rule for key in sorted(levels, key=_place) for rule in _level_rules(*key, levels[key], services)]


def _level_rules(kind: str, level: str, percents: dict[str, int], services: Sequence[str]) -> Iterator[FactorRule]:
    usual = _usual(percents) if len(services) > 1 and set(services) <= set(percents) else None
    if usual is not None:
        yield FactorRule(kind, level, usual)
    for service in sorted(percents):
        if percents[service] != usual:
            yield FactorRule(kind, level, percents[service], service)


def _usual(percents: dict[str, int]) -> int | None:
    """What at least half of the services have; None where they are all different."""
    percent, count = Counter(sorted(percents.values())).most_common(1)[0]
    return percent if count * 2 >= len(percents) else None


def _place(key: tuple[str, str]) -> tuple[int, int, str]:
    kind, level = key
    return KINDS.index(FactorKind(kind)), IN_ORDER.index(level) if level in IN_ORDER else 0, level


def rows_of_rules(rules: Sequence[FactorRule], services: Sequence[str]) -> list[tuple[int, CardRow]]:
    """A row for each service that a rule speaks of, with the position of the rule; the exception wins over the rule for
    all. Two rules that say the same thing give the same row twice, for the reader of rows to find."""
    excepted = {(rule.kind, rule.level, rule.service) for rule in rules if rule.service != EVERY}
    found: list[tuple[int, CardRow]] = []
    for number, rule in enumerate(rules):
        of = [rule.service] if rule.service != EVERY else services
        wanted = [code for code in of if rule.service != EVERY or (rule.kind, rule.level, code) not in excepted]
        found += [(number, _row(rule, code)) for code in wanted]
    return found


def _row(rule: FactorRule, service: str) -> CardRow:
    return {"part": "factor", "service": service, "kind": rule.kind, "level": rule.level, "percent": rule.percent}
