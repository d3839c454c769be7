"""The due list as people look at it: narrowed by what they ask for, page by page, for a company of any size."""

from array import array
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cached_property
from typing import Any, overload

import numpy as np

from jobs.reminders.domain.due import due_key
from jobs.reminders.selectors import CHUNK, DueItem, due_items

NEVER = -1
WIDTH = 4


@dataclass(frozen=True, slots=True)
class DueWish:
    """What the list is narrowed to; what is empty or None narrows nothing.

    `silent_days`: no reminder to the customer for so many days, NEVER: none ever. `price_from_cents`: whoever's price
    is known only after a look does not count. `chance_from_percent` is of a yes.
    """

    state: str = ""
    kind: str = ""
    channel: str = ""
    search: str = ""
    silent_days: int | None = None
    price_from_cents: int | None = None
    minutes_up_to: int | None = None
    chance_from_percent: int | None = None

    def admits(self, item: DueItem, today: date) -> bool:
        words = self.search.strip().lower()
        return (
            self.state in ("", item.state)
            and self.kind in ("", item.kind)
            and self.channel in ("", item.channel)
            and (not words or words in f"{item.customer_name} {item.address} {item.reason}".lower())
            and self._is_silent(item.last_contact_on, today)
            and _at_least(item.price_cents, self.price_from_cents)
            and (self.minutes_up_to is None or item.minutes <= self.minutes_up_to)
            and _at_least(None if item.chance is None else 100 * item.chance, self.chance_from_percent)
        )

    def _is_silent(self, last: date | None, today: date) -> bool:
        if self.silent_days is None or last is None:
            return True
        return self.silent_days != NEVER and last <= today - timedelta(days=self.silent_days)


def _at_least(value: float | None, least: int | None) -> bool:
    return least is None or (value is not None and value >= least)


_Lines = np.ndarray[Any, np.dtype[np.int64]]


class DueSheet(Sequence[DueItem]):
    """What the wish leaves of the due list, the earliest first, then by property and kind.

    Everything due is read once. Of a long list 32 bytes are kept of each line, and the lines of a page are made again
    from their properties: so the memory does not grow with the walls. A list of up to CHUNK lines is kept as it is.
    """

    def __init__(self, *, today: date, lead_days: int | None = None, wish: DueWish | None = None) -> None:
        self._today, self._lead_days, self._wish = today, lead_days, wish or DueWish()
        self._kinds: dict[str, int] = {}
        self._lines = array("q")
        self._kept: dict[str, DueItem] | None = {}
        self.due_count = self.ready_count = self.shown_ready = 0
        for item in due_items(today=today, lead_days=lead_days):
            self._take(item)

    def _take(self, item: DueItem) -> None:
        self.due_count += 1
        self.ready_count += item.is_ready
        if self._wish.admits(item, self._today):
            self.shown_ready += item.is_ready
            number = self._kinds.setdefault(item.kind, len(self._kinds))
            self._lines.extend((item.due_on.toordinal(), item.property_id, number, item.is_ready))
            self._keep(item)

    def _keep(self, item: DueItem) -> None:
        if self._kept is not None:
            self._kept[item.key] = item
            if len(self._kept) > CHUNK:
                self._kept = None

    @cached_property
    def _in_order(self) -> _Lines:
        """Day, property, kind and readiness of each line, sorted; kinds by the alphabet."""
        rank = {kind: place for place, kind in enumerate(sorted(self._kinds))}
        by_alphabet = np.array([rank[kind] for kind in self._kinds], dtype=np.int64)
        lines = np.frombuffer(self._lines, dtype=np.int64).reshape(-1, WIDTH)
        days, places, kinds, _ready = lines.T
        return lines[np.lexsort((by_alphabet[kinds], places, days))] if len(lines) else lines

    def __len__(self) -> int:
        return len(self._lines) // WIDTH

    @overload
    def __getitem__(self, at: int) -> DueItem: ...

    @overload
    def __getitem__(self, at: slice) -> list[DueItem]: ...

    def __getitem__(self, at: int | slice) -> DueItem | list[DueItem]:
        if isinstance(at, int):
            return self._made(self._in_order[at].reshape(1, WIDTH))[0]
        return self._made(self._in_order[at])

    def _made(self, lines: _Lines) -> list[DueItem]:
        """The lines as they are now; what was settled meanwhile is left out."""
        wanted = [self._named(line) for line in lines]
        found = self._kept if self._kept is not None else self._again({place for place, _kind, _day in wanted})
        keys = [due_key(*line) for line in wanted]
        return [found[key] for key in keys if key in found]

    def _again(self, places: set[int]) -> dict[str, DueItem]:
        made = due_items(today=self._today, lead_days=self._lead_days, property_ids=sorted(places))
        return {item.key: item for item in made}

    def ready_keys(self) -> list[str]:
        """The keys of all lines that may be reminded now, in order."""
        return [due_key(*self._named(line)) for line in self._in_order if line[3]]

    def _named(self, line: _Lines) -> tuple[int, str, date]:
        day, place, kind, _ready = line.tolist()
        return place, list(self._kinds)[kind], date.fromordinal(day)
