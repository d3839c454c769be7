"""Which column of a person's file is which of our fields."""

import re
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from .cells import Cell
from .faults import UnreadableFile

# Columns that a corrections file adds to the original ones; they say why, and are not data.
ROW, PROBLEM, WHAT_TO_DO = "row", "problem", "what to do"
BOOKKEEPING = frozenset((ROW, PROBLEM, WHAT_TO_DO))
IGNORE = "-"  # what a person maps a column to that should not be used
UNIT_WORDS = {"m2": "m2", "sqm": "m2", "metros": "m2", "metres": "m2", "hours": "h", "hrs": "h", "horas": "h"}


@dataclass(frozen=True, slots=True)
class Field:
    """One thing that we want to know: its name (also the heading of our exports) and what people call it."""

    name: str
    label: str
    synonyms: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Columns:
    """How a header was understood. Positions are those of the file; headings are as written.

    `units` holds the unit that a heading names. `unknown` columns are not used. `elsewhere` are columns that the
    other import understands. `doubtful` fields were claimed by several columns and are used from none of them.
    """

    header: tuple[str, ...]
    positions: Mapping[str, int]
    units: Mapping[str, str] = field(default_factory=dict)
    unknown: tuple[str, ...] = ()
    elsewhere: tuple[str, ...] = ()
    doubtful: Mapping[str, tuple[str, ...]] = field(default_factory=dict)

    def cell(self, cells: Sequence[Cell], name: str) -> Cell:
        """The cell of a field; None where the file has no such column."""
        position = self.positions.get(name)
        return None if position is None else cells[position]

    def heading(self, name: str) -> str:
        """What the person calls the field; our own name where the file has no such column."""
        position = self.positions.get(name)
        return name if position is None else self.header[position]

    def has(self, name: str) -> bool:
        return name in self.positions

    def field_of(self, position: int) -> str:
        """The field that a column feeds, or ""."""
        return next((name for name, at in self.positions.items() if at == position), "")


def plain(text: str) -> str:
    """A heading as it is compared: lower case, no accents, words between single spaces, # as "number"."""
    text = text.replace("²", "2").replace("#", " number ").replace("№", " number ")
    letters = unicodedata.normalize("NFKD", text.casefold())
    ascii_letters = "".join(char for char in letters if not unicodedata.combining(char))
    return " ".join(re.findall(r"[a-z0-9]+", ascii_letters))


def recognise(
    header: Sequence[str],
    fields: Sequence[Field],
    mapping: Mapping[str, str] | None = None,
    *,
    elsewhere: Iterable[Field] = (),
) -> Columns:
    """Match headings to fields: the explicit mapping first, then our own names, then what people write.

    `mapping` goes from a heading (compared as `plain`) to a field's name, or to "-" for "do not use". Raises
    UnreadableFile when the mapping names a column or a field that does not exist, or one field twice.
    """
    chosen = _chosen(header, fields, mapping or {})
    claims: dict[str, list[int]] = {}
    free = [at for at, name in enumerate(header) if at not in chosen and plain(name) not in BOOKKEEPING]
    taken = set(chosen.values())
    for at in free:
        name = _claimed(header[at], fields)
        if name and name not in taken:
            claims.setdefault(name, []).append(at)
    settled = {name: _settle(header, name, places) for name, places in claims.items()}
    positions = {name: at for at, name in chosen.items() if name != IGNORE}
    positions |= {name: places[0] for name, places in settled.items() if len(places) == 1}
    spare = [at for at in free if at not in positions.values()]
    others = tuple(elsewhere)
    other = {at for at in spare if _claimed(header[at], others) and not _claimed(header[at], fields)}
    return Columns(
        header=tuple(header),
        positions=positions,
        units={name: unit for name, at in positions.items() if (unit := _unit(header[at]))},
        unknown=tuple(_shown(header, at) for at in spare if at not in other),
        elsewhere=tuple(header[at] for at in sorted(other)),
        doubtful={n: tuple(header[at] for at in places) for n, places in settled.items() if len(places) > 1},
    )


def _chosen(header: Sequence[str], fields: Sequence[Field], mapping: Mapping[str, str]) -> dict[int, str]:
    """Positions that the person mapped, each with its field or IGNORE."""
    known = {f.name for f in fields} | {IGNORE}
    chosen: dict[int, str] = {}
    for heading, name in mapping.items():
        places = [at for at, written in enumerate(header) if plain(written) == plain(heading)]
        if not places:
            raise UnreadableFile(f"The file has no column “{heading}”; it has: {', '.join(filter(None, header))}.")
        name = name or IGNORE
        if name not in known:
            raise UnreadableFile(f"There is no field “{name}”; the fields are: {', '.join(f.name for f in fields)}.")
        if name != IGNORE and name in chosen.values():
            raise UnreadableFile(f"The field “{name}” is mapped to two columns; choose one of them.")
        chosen[places[0]] = name
        chosen.update(dict.fromkeys(places[1:], IGNORE))
    return chosen


def _claimed(heading: str, fields: Sequence[Field]) -> str:
    wanted = {plain(heading), _without_unit(plain(heading))} - {""}
    by_name = [f.name for f in fields if plain(f.name) in wanted]
    return next(iter(by_name or [f.name for f in fields if wanted & set(map(plain, f.synonyms))]), "")


def _settle(header: Sequence[str], name: str, places: list[int]) -> list[int]:
    """Of several columns for one field, the one with our own name, if there is just one."""
    own = [at for at in places if plain(header[at]) == plain(name)]
    return own if len(own) == 1 else places


def _unit(heading: str) -> str:
    return next((UNIT_WORDS[word] for word in plain(heading).split() if word in UNIT_WORDS), "")


def _without_unit(text: str) -> str:
    words = text.split()
    return " ".join(word for word in words if word not in UNIT_WORDS) if len(words) > 1 else text


def _shown(header: Sequence[str], at: int) -> str:
    return header[at] or f"column {at + 1} (no name)"
