"""The owner's own sentence about one due thing, in place of ours: what may be filled in, and what is wrong with it.

Greeting, links, name, postal address and the way out stay ours, so that no wording can leave them out.
"""

import re
from collections.abc import Mapping
from enum import StrEnum

from jobs.reminders.domain.lint import Finding, claims, fears, links


class CauseKind(StrEnum):
    """What makes a thing due: the time since it was done; a wall as it was read; a wall as it is expected."""

    INTERVAL = "interval"
    READING = "reading"
    FORECAST = "forecast"


LONGEST = 600
ALWAYS = ("service", "street", "customer", "due")
FIELDS: Mapping[CauseKind, tuple[str, ...]] = {
    CauseKind.INTERVAL: (*ALWAYS, "last_done", "every_months"),
    CauseKind.READING: (*ALWAYS, "wall", "reading", "read_on", "limit"),
    CauseKind.FORECAST: (*ALWAYS, "wall", "reading", "read_on", "limit", "passes", "earliest", "latest"),
}
_FIELD = re.compile(r"\{([^{}]*)\}")


def faults(words: str, cause: CauseKind) -> list[Finding]:
    """Everything that is wrong with the words."""
    return [
        *(Finding("unknown_field", name) for name in _FIELD.findall(words) if name not in FIELDS[cause]),
        *(Finding("stray_brace", brace) for brace in sorted({*_FIELD.sub("", words)} & {"{", "}"})),
        *(Finding("own_link", link) for link in links(words)),
        *(Finding("claim", claim) for claim in claims(words)),
        *(Finding("fear", fear) for fear in fears(words)),
        *([Finding("too_long", str(LONGEST))] if len(words) > LONGEST else []),
    ]


def fill(words: str, facts: Mapping[str, str]) -> str:
    """The words with the facts put in; empty where a fact that they name is not known of this property."""
    names = _FIELD.findall(words)
    if any(not facts.get(name) for name in names):
        return ""
    return _FIELD.sub(lambda found: facts[found.group(1)], words)
