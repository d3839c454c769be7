"""What is wrong with a cell, in words that say what to do about it."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any


def N_(text: str) -> str:  # noqa: N802 - the name that gettext's tools look for
    """Mark a text for translation; it is translated where it is shown."""
    return text


class UnreadableFile(Exception):
    """The file as a whole cannot be used. `str(error)` is one sentence that may be shown."""


@dataclass(frozen=True, slots=True)
class Fault:
    """One reason why a row is refused.

    `problem` and `what_to_do` are English templates for gettext; `params` fills their `%(name)s` places. `value`
    is what stood in the cell, shortened. `column` is the heading in the person's own file ("" for the whole row).
    """

    column: str
    value: str
    problem: str
    what_to_do: str
    params: Mapping[str, Any] = field(default_factory=dict)

    def problem_text(self, translate: Callable[[str], str] = str) -> str:
        """The problem as a sentence."""
        return translate(self.problem) % self.params

    def advice_text(self, translate: Callable[[str], str] = str) -> str:
        """What to do about it, as a sentence."""
        return translate(self.what_to_do) % self.params


def shown(value: object, length: int = 60) -> str:
    """`value` short enough for a report, control characters made visible."""
    text = str(value)
    short = text[:length] + ("…" if len(text) > length else "")
    return "".join(char if char.isprintable() else "�" for char in short)
