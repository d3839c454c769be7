"""The table of states: what may follow what, and nothing else."""

import pytest

from jobs.work.choices import JobState
from jobs.work.domain.states import CLOSED, STEPS, state_after, steps_from
from jobs.work.errors import STEP_WORDS
from jobs.work.services.steps import EVENTS

# Written out by hand, as the people in the office would say it.
ALLOWED = {
    ("lead", "estimate"): "estimated",
    ("lead", "agree"): "agreed",
    ("lead", "decline"): "declined",
    ("estimated", "agree"): "agreed",
    ("estimated", "decline"): "declined",
    ("agreed", "plan"): "planned",
    ("agreed", "arrive"): "on_site",
    ("agreed", "finish"): "done",
    ("agreed", "call_off"): "called_off",
    ("planned", "agree_again"): "agreed",
    ("planned", "arrive"): "on_site",
    ("planned", "finish"): "done",
    ("planned", "call_off"): "called_off",
    ("on_site", "agree_again"): "agreed",
    ("on_site", "finish"): "done",
    ("on_site", "call_off"): "called_off",
}


@pytest.mark.parametrize("state", JobState.values)
@pytest.mark.parametrize("step", STEPS)
def test_a_step_is_allowed_exactly_where_the_table_says(state: str, step: str) -> None:
    """Each pair of state and step leads where it should, or nowhere."""
    assert state_after(state, step) == ALLOWED.get((state, step))
    assert (step in steps_from(state)) == ((state, step) in ALLOWED)


def test_every_state_of_the_table_is_a_state_of_a_job() -> None:
    """Domain and rows name the same states, and each of them can be reached or begun with."""
    reached = {target for _, target in STEPS.values()} | {"lead"}
    assert reached == set(JobState.values)


def test_nothing_follows_a_closed_state() -> None:
    """Done, declined and called off are the end."""
    assert all(steps_from(state) == () for state in CLOSED)


def test_every_step_has_an_event_and_words() -> None:
    """A step without a name for the history or for the refusal would fail when it is first needed."""
    assert set(STEPS) == set(EVENTS) == set(STEP_WORDS)


def test_an_unknown_step_is_an_error() -> None:
    """A misspelt step is not taken for a refused one."""
    with pytest.raises(KeyError):
        state_after("lead", "finnish")
