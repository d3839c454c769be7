"""What happened to a job, as its page says it."""

from django.utils.translation import gettext_lazy as _

EVENT_WORDS = {
    "job.created": _("taken down"),
    "job.estimated": _("estimated"),
    "job.agreed": _("agreed"),
    "job.declined": _("declined"),
    "job.planned": _("planned"),
    "job.agreed_again": _("back to agreed"),
    "job.arrived": _("crew arrived"),
    "job.started": _("crew started"),
    "job.started_unseen": _("STARTED BEFORE the condition notice was acknowledged or sent (start, then notice)"),
    "job.arrived_late": _("the arrival came up after its day"),
    "job.started_late": _("the start came up after its day"),
    "job.finished_late": _("the finish came up after its day"),
    "job.start_allowed": _("start allowed without a settled notice"),
    "walkthrough.recorded": _("walkthrough written down"),
    "walkthrough.removal_opened": _("chalk removal opened as a job of its own"),
    "notice.made": _("condition notice made"),
    "notice.acknowledged": _("condition notice acknowledged"),
    "notice.nobody_home": _("nobody home, condition notice sent"),
    "notice.difference_settled": _("other text on the phone settled by the office"),
    "job.done": _("booked as done"),
    "job.called_off": _("called off"),
    "job.days_set": _("days set"),
    "job.terms_set": _("prices or minutes changed"),
    "job.conditions_set": _("access or soil changed"),
    "job.refunded": _("money given back"),
    "product.poured": _("product poured"),
    "wall.rinsed": _("rinsed"),
    "rinse.confirmed": _("rinsed earlier, confirmed afterwards"),
    "products.met": _("the record shows that two products met that must not"),
    "visit.corrected": _("booking corrected"),
}


def event_words(kind: str) -> str:
    """The words for a kind of event; one that a newer version wrote is shown as it is."""
    return str(EVENT_WORDS.get(kind, kind))
