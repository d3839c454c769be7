"""What was done to a plan, by whom, in words."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.utils.translation import gettext as _

from routing.plans.models import DayPlan
from routing.plans.selectors.labels import job_labels
from shared.events.selectors import event_list

MOST = 20


@dataclass(frozen=True)
class Done:
    """`who` is empty for what the clock or a command did."""

    at: datetime
    who: str
    words: str


def plan_history(plan: DayPlan) -> tuple[Done, ...]:
    """The newest things first; two queries."""
    events = list(event_list(subject=plan)[:MOST])
    labels = job_labels({event.data["job"] for event in events if "job" in event.data})
    return tuple(Done(event.at, _name(event.actor), _words(event.kind, event.data, labels)) for event in events)


def _name(actor: Any) -> str:
    return (actor.get_full_name() or actor.get_username()) if actor else ""


def _words(kind: str, data: dict[str, Any], labels: dict[int, str]) -> str:
    job = labels.get(data.get("job", 0), "")
    texts = {
        "plan.made": _("planned as version %(version)s"),
        "plan.stop_moved": _("moved %(job)s"),
        "plan.stop_taken_out": _("took out %(job)s"),
        "plan.job_put_in": _("put in %(job)s"),
        "plan.stop_locked": _("locked %(job)s to its crew"),
        "plan.stop_unlocked": _("unlocked %(job)s"),
        "plan.sent_out": _("sent out as number %(number)s"),
    }
    return texts.get(kind, kind) % {"job": job, "version": data.get("version"), "number": data.get("number")}
