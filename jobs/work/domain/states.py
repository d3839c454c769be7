"""Which state of a job may follow which. One table; everything else asks it."""

from collections.abc import Mapping
from types import MappingProxyType

LEAD, ESTIMATED, AGREED, PLANNED = "lead", "estimated", "agreed", "planned"
ON_SITE, DONE, DECLINED, CALLED_OFF = "on_site", "done", "declined", "called_off"

# step -> (states it may be taken from, state it leads to)
STEPS: Mapping[str, tuple[frozenset[str], str]] = MappingProxyType(
    {
        "estimate": (frozenset({LEAD}), ESTIMATED),
        "agree": (frozenset({LEAD, ESTIMATED}), AGREED),
        "decline": (frozenset({LEAD, ESTIMATED}), DECLINED),
        "plan": (frozenset({AGREED}), PLANNED),
        # Dropped from the day it was planned for, or broken off on site (thunder, a pump that quit).
        "agree_again": (frozenset({PLANNED, ON_SITE}), AGREED),
        "arrive": (frozenset({AGREED, PLANNED}), ON_SITE),
        # The office may book work that nobody marked on the way.
        "finish": (frozenset({AGREED, PLANNED, ON_SITE}), DONE),
        "call_off": (frozenset({AGREED, PLANNED, ON_SITE}), CALLED_OFF),
    }
)
CLOSED = frozenset({DONE, DECLINED, CALLED_OFF})
MAY_BEGIN_AS = (LEAD, ESTIMATED, AGREED)


def state_after(state: str, step: str) -> str | None:
    """The state that `step` leads to from `state`, or None where the step may not be taken.

    Raises KeyError for an unknown step.
    """
    sources, target = STEPS[step]
    return target if state in sources else None


def steps_from(state: str) -> tuple[str, ...]:
    """The steps that may be taken from `state`, in the order of the table."""
    return tuple(step for step, (sources, _) in STEPS.items() if state in sources)
