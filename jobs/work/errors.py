from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from jobs.work.choices import JobState
from shared.errors import Conflict, Refused, Stale

STEP_WORDS = {
    "estimate": gettext_lazy("marked as estimated"),
    "agree": gettext_lazy("agreed"),
    "decline": gettext_lazy("declined"),
    "plan": gettext_lazy("planned"),
    "agree_again": gettext_lazy("put back to agreed"),
    "arrive": gettext_lazy("marked as on site"),
    "finish": gettext_lazy("booked as done"),
    "call_off": gettext_lazy("called off"),
}


class StepRefused(Conflict):
    """The job's state does not allow the step."""

    code = "step_refused"

    def __init__(self, *, state: str, step: str) -> None:
        words = _("A job that is %(state)s cannot be %(step)s.")
        super().__init__(words % {"state": JobState(state).label, "step": STEP_WORDS[step]}, state=state, step=step)


class JobStale(Stale):
    """Somebody else changed the job since it was read."""

    code = "job_changed_meanwhile"

    def __init__(self, **fields: Any) -> None:
        super().__init__(_("Somebody else changed this job meanwhile. Look at it again."), **fields)


class MustNotMeet(Conflict):
    """What is to be poured would meet, unrinsed, what it must never meet."""

    code = "must_not_meet"


class RecordedOtherwise(Conflict):
    """The same key came with other content: what was recorded is never changed."""

    code = "recorded_already"


class ReasonMissing(Refused):
    """Calling off, declining, giving money back and correcting need a reason."""

    code = "reason_missing"

    def __init__(self) -> None:
        super().__init__(_("Say why, in a few words."))
