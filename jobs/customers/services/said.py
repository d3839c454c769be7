"""What the rows of one file have said so far, so that no row undoes what an earlier one of the same file did.

Importing a file twice must change nothing the second time. A row that contradicts an earlier one is therefore
refused, and so is every later row that would change something the refused row speaks of: otherwise the second
import, which finds more than the first one did, could read the refused row in another way.
"""

from collections.abc import Iterable, Mapping
from typing import Any

Thing = tuple[str, int]
REFUSED = "*refused"


class SaidBefore:
    """By thing (a kind and a number): field -> (hash of the value, row). Values are not kept."""

    def __init__(self) -> None:
        self._said: dict[Thing, dict[str, tuple[int, int]]] = {}
        self._fresh: list[tuple[Thing, str]] = []

    def note(self, thing: Thing, fields: Mapping[str, Any], row: int) -> None:
        """Remember what a row gives; the first one to say something counts."""
        said = self._said.setdefault(thing, {})
        for name, value in fields.items():
            if name not in said:
                said[name] = (hash(value), row)
                self._fresh.append((thing, name))

    def rows_about(self, thing: Thing) -> list[int]:
        """The rows that were taken and spoke of a thing."""
        return sorted(row for name, (_, row) in self._said.get(thing, {}).items() if name != REFUSED)

    def contradicted(self, thing: Thing, fields: Mapping[str, Any]) -> tuple[str, int] | None:
        """The first field that an earlier row gave otherwise, and that row."""
        said = self._said.get(thing, {})
        for name, value in fields.items():
            if name in said and said[name][0] != hash(value):
                return name, said[name][1]
        return None

    def refuse(self, things: Iterable[Thing], row: int) -> None:
        """Remember that a row about these things was refused."""
        for thing in things:
            self.note(thing, {REFUSED: 0}, row)

    def refused(self, things: Iterable[Thing]) -> int | None:
        """The first refused row about any of these things."""
        rows = [self._said[thing][REFUSED][1] for thing in things if REFUSED in self._said.get(thing, {})]
        return min(rows, default=None)

    def rename(self, old: Thing, new: Thing) -> None:
        """A thing got its id."""
        self._said[new] = self._said.pop(old, {})

    def keep(self) -> None:
        """The batch is stored."""
        self._fresh.clear()

    def forget_batch(self) -> None:
        """The batch was not stored: what its rows said does not count."""
        for thing, name in self._fresh:
            self._said.get(thing, {}).pop(name, None)
        self._fresh.clear()
