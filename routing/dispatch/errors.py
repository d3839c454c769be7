from routing.plans.models import DayPlan
from shared.errors import Conflict, Stale


class NothingToSend(Conflict):
    """The plan has no stops, or nothing in it that a crew would notice changed since it was sent out."""

    code = "nothing_to_send"


class PlanStale(Stale):
    """Somebody else changed the day plan since it was read."""

    code = "plan_changed_meanwhile"


class MarkRefused(Conflict):
    """A mark out of order, of another day, or earlier than the one before it."""

    code = "mark_refused"


def version_now(plan: DayPlan) -> int:
    """The plan's version in the database, for the answer to somebody who is behind."""
    return DayPlan.objects.values_list("version", flat=True).get(pk=plan.pk)
