"""Reading values out of decoded JSON while collecting faults with their JSON paths."""

import json
from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from math import isfinite
from typing import Any, TypeVar

from .problem import Window

T = TypeVar("T")

MAX_FAULTS = 100
MAX_COUNTED = 100_000
MAX_NAMES = 1_000
MISSING = object()
MAX_TEXT = 200

_LIMITS: Mapping[str, tuple[int, int]] = {
    "time": (-(10**9), 10**9),
    "minutes": (0, 10**6),
    "metres": (0, 10**8),
    "cents": (-(10**9), 10**9),
    "cost": (0, 10**9),
    "rate": (0, 10**6),
    "amount": (0, 10**9),
    "pace": (1, 10_000),
    "total": (-(10**18), 10**18),
}


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong with a file: where, as a JSON path like `$.jobs[3].windows[0]`, and what."""

    path: str
    message: str

    def __str__(self) -> str:
        return f"{self.path}: {self.message}"


class MalformedProblem(ValueError):
    """The data is not a day problem (or plan); `faults` names what was found, at most 100, `more` counts the rest."""

    def __init__(self, faults: Iterable[Fault], more: int = 0):
        self.faults, self.more = tuple(faults), more
        super().__init__("; ".join(str(fault) for fault in self.faults))


class Enough(Exception):
    """Raised inside when the number of faults has reached its bound."""


class _Repeated(dict[str, Any]):
    """A JSON object in which some field was given twice."""

    repeated: tuple[str, ...] = ()


def load_json(text: str | bytes) -> Any:
    """JSON text as plain data; NaN and infinities are kept for the reader to name by path.

    Raises MalformedProblem where the text is not JSON at all, nests too deeply or holds a number of
    thousands of digits.
    """
    try:
        return json.loads(text, object_pairs_hook=_object)
    except RecursionError:
        raise MalformedProblem([Fault("$", "the JSON is nested too deeply")]) from None
    except (ValueError, UnicodeDecodeError) as error:
        raise MalformedProblem([Fault("$", f"not JSON: {error}")]) from None


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    fields = dict(pairs)
    if len(fields) == len(pairs):
        return fields
    marked = _Repeated(fields)
    names = (name for name, _ in pairs)
    marked.repeated = tuple(sorted(name for name, times in Counter(names).items() if times > 1))
    return marked


class Reader:
    """Collects faults while values are read; a bad value reads as a harmless default."""

    def __init__(self) -> None:
        self.faults: list[Fault] = []
        self.more = 0

    def fault(self, path: str, message: str) -> None:
        """Keep the first MAX_FAULTS and count the rest. Raises Enough at MAX_COUNTED."""
        if len(self.faults) < MAX_FAULTS:
            self.faults.append(Fault(path, message))
        else:
            self.more += 1
            if self.more >= MAX_COUNTED:
                raise Enough

    def record(self, value: Any, path: str) -> dict[str, Any]:
        if not isinstance(value, dict):
            self.fault(path, f"must be an object, not {_kind(value)}")
            return {}
        if isinstance(value, _Repeated):
            for name in value.repeated:
                self.fault(f"{path}.{short(name)}", "is given twice")
        return value

    def items(self, value: Any, path: str, most: int) -> list[Any]:
        if value is MISSING:
            return []
        if not isinstance(value, list):
            self.fault(path, f"must be a list, not {_kind(value)}")
            return []
        if len(value) > most:
            self.fault(path, f"has {len(value)} entries, the most is {most}")
            return []
        return value

    def text(self, value: Any, path: str) -> str:
        if not isinstance(value, str):
            self.fault(path, f"must be text, not {_kind(value)}")
        elif not value or len(value) > MAX_TEXT:
            self.fault(path, f"must be 1 to {MAX_TEXT} characters long")
        elif any(0xD800 <= ord(letter) <= 0xDFFF for letter in value):
            self.fault(path, "holds half of a surrogate pair")
        else:
            return value
        return ""

    def flag(self, value: Any, path: str) -> bool:
        if not isinstance(value, bool):
            self.fault(path, f"must be true or false, not {_kind(value)}")
            return False
        return value

    def whole(self, value: Any, path: str, limit: str) -> int:
        low, high = _LIMITS[limit]
        if type(value) is not int:
            self.fault(path, f"must be an integer, not {_kind(value)}")
        elif not low <= value <= high:
            self.fault(path, f"must be from {low} to {high}")
        else:
            return value
        return max(low, 0)

    def window(self, value: Any, path: str) -> Window:
        if value is MISSING:
            return (0, 0)
        pair = value if isinstance(value, list) else []
        if len(pair) != 2:
            self.fault(path, "must be two minutes, [from, to]")
            return (0, 0)
        start = self.whole(pair[0], f"{path}[0]", "time")
        end = self.whole(pair[1], f"{path}[1]", "time")
        if start > end:
            self.fault(path, f"ends at {end}, before it begins at {start}")
            return (0, 0)
        return (start, end)

    def wrong_cells(self, cells: list[Any], limit: str) -> list[int]:
        """Columns of a table's row that are not integers within the limit."""
        low, high = _LIMITS[limit]
        return [column for column, cell in enumerate(cells) if type(cell) is not int or not low <= cell <= high]

    def sentences(self, value: Any, path: str) -> tuple[str, ...]:
        entries = self.items(value, path, MAX_NAMES)
        if not all(isinstance(entry, str) for entry in entries):
            self.fault(path, "must be a list of sentences")
        return tuple(entries)

    def names(self, value: Any, path: str, most: int = MAX_NAMES) -> tuple[str, ...]:
        entries = self.items(value, path, most)
        return tuple(self.text(entry, f"{path}[{i}]") for i, entry in enumerate(entries))

    def amounts(self, value: Any, path: str) -> dict[str, int]:
        record = self.record(value, path)
        if len(record) > MAX_NAMES:
            self.fault(path, f"has {len(record)} entries, the most is {MAX_NAMES}")
            return {}
        return {
            self.text(name, f"{path}.{short(name)}"): self.whole(amount, f"{path}.{short(name)}", "amount")
            for name, amount in record.items()
        }

    def required(self, record: Mapping[str, Any], name: str, path: str) -> Any:
        """The field's value, or MISSING (about which the other readers stay silent)."""
        if name not in record:
            self.fault(f"{path}.{name}", "is missing")
        return record.get(name, MISSING)

    def need_whole(self, record: Mapping[str, Any], name: str, path: str, limit: str) -> int:
        if name not in record:
            self.fault(f"{path}.{name}", "is missing")
            return max(_LIMITS[limit][0], 0)
        return self.whole(record[name], f"{path}.{name}", limit)

    def need_number(self, record: Mapping[str, Any], name: str, path: str) -> float:
        value = record.get(name)
        if isinstance(value, bool) or not isinstance(value, int | float) or not isfinite(value):
            self.fault(f"{path}.{name}", "must be a finite number")
            return 0.0
        return value

    def need_text(self, record: Mapping[str, Any], name: str, path: str) -> str:
        if name not in record:
            self.fault(f"{path}.{name}", "is missing")
            return ""
        return self.text(record[name], f"{path}.{name}")


def optional(record: Mapping[str, Any], name: str, path: str, read: Callable[[Any, str], T], default: T) -> T:
    """The field read with its path, or the default where it is absent."""
    return read(record[name], f"{path}.{name}") if name in record else default


def _kind(value: Any) -> str:
    """A value in words short enough to stand in a message."""
    if isinstance(value, bool) or value is None:
        return json.dumps(value)
    if isinstance(value, int | float):
        return "a number far too large" if abs(value) >= 10**20 else str(value)
    names: dict[type, str] = {str: "text", list: "a list", dict: "an object", _Repeated: "an object"}
    return names.get(type(value), type(value).__name__)


def short(name: object) -> str:
    """A name as it may stand in a message: on one line, and not too long."""
    text = repr(str(name))[1:-1]
    return text if len(text) <= 40 else text[:40] + "..."
