"""The due list as people look at it: narrowed by what they ask for, page by page, for a company of any size."""

from collections.abc import Iterator, Sequence
from datetime import date
from functools import cached_property
from itertools import islice
from typing import overload

from django.db import connection

from jobs.reminders.line_sql import by_urgency
from jobs.reminders.lines import Condition, Counts, line_counts, line_items, line_keys, question
from jobs.reminders.narrowing import IS_READY, DueWish, all_of, condition_of
from jobs.reminders.selectors import DueItem

KEPT = 1000


class DueSheet(Sequence[DueItem]):
    """What the wish leaves of the due list, the earliest first, then by property and kind.

    The database counts, orders and cuts pages; a line is made when somebody looks at it. Only a search reads every line
    that the rest of the wish leaves, and keeps the first KEPT of those that it finds.
    """

    def __init__(self, *, today: date, lead_days: int | None = None, wish: DueWish | None = None) -> None:
        self._wish = wish or DueWish()
        self._asked = question(today=today, lead_days=lead_days)
        self._condition = condition_of(self._wish, self._asked)

    @cached_property
    def _counts(self) -> Counts:
        if not self._wish.words:
            return line_counts(self._asked, self._condition)
        read, found = self._found.read, self._found.found
        whole = read if self._condition == Condition() else line_counts(self._asked, Condition())
        return Counts(whole.due, whole.ready, found.due, found.ready)

    @cached_property
    def _found(self) -> "_Found":
        """What a search finds."""
        found = _Found()
        for item in line_items(self._asked, self._condition):
            found.take(item, self._has_words(item))
        return found

    @property
    def due_count(self) -> int:
        """All that is due, whatever is wished."""
        return self._counts.due

    @property
    def ready_count(self) -> int:
        """What of it may be reminded now."""
        return self._counts.ready

    @property
    def shown_ready(self) -> int:
        """What may be reminded now of what is wished."""
        return self._counts.wanted_ready

    def __len__(self) -> int:
        return self._counts.wanted

    def __iter__(self) -> Iterator[DueItem]:
        """Every line, made while the database hands it over."""
        return self._searched(line_items(self._asked, self._condition))

    def by_urgency(self) -> Iterator[DueItem]:
        """Every line, those first that are most overdue and were longest not heard of; the routes count for nothing."""
        return self._searched(line_items(self._asked, self._condition, order=by_urgency(connection.vendor)))

    def _searched(self, items: Iterator[DueItem]) -> Iterator[DueItem]:
        return filter(self._has_words, items) if self._wish.words else items

    def _has_words(self, item: DueItem) -> bool:
        return self._wish.words in f"{item.customer_name} {item.address} {item.reason}".lower()

    @overload
    def __getitem__(self, at: int) -> DueItem: ...

    @overload
    def __getitem__(self, at: slice) -> list[DueItem]: ...

    def __getitem__(self, at: int | slice) -> DueItem | list[DueItem]:
        if isinstance(at, int):
            place = range(len(self))[at]
            return self[place : place + 1][0]
        first, last, step = at.indices(len(self))
        if step != 1:
            raise ValueError("A page is a slice without a step.")
        return self._page(first, last)

    def _page(self, first: int, last: int) -> list[DueItem]:
        """The lines as they are now; what was settled meanwhile is left out."""
        if not self._wish.words:
            return list(line_items(self._asked, self._condition, first=first, most=max(0, last - first)))
        if last <= len(self._found.first):
            return self._found.first[first:last]
        return list(islice(self, first, last))

    def ready_keys(self, *, most: int) -> list[str]:
        """The keys of the first lines that may be reminded now, in order, at most so many."""
        if self._wish.words:
            return list(islice((item.key for item in self if item.is_ready), most))
        return line_keys(self._asked, all_of(self._condition, IS_READY), most=most)


class _Found:
    """What a search read, and what it found."""

    def __init__(self) -> None:
        self.read, self.found = _Number(), _Number()
        self.first: list[DueItem] = []

    def take(self, item: DueItem, is_found: bool) -> None:
        self.read.add(item)
        if is_found:
            self.found.add(item)
            if len(self.first) < KEPT:
                self.first.append(item)


class _Number:
    """How many lines, and how many of them may be reminded now."""

    def __init__(self) -> None:
        self.due = self.ready = 0

    def add(self, item: DueItem) -> None:
        self.due += 1
        self.ready += item.is_ready
