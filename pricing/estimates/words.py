"""What happened to an estimate, as its page says it."""

from django.utils.translation import gettext_lazy as _

EVENT_WORDS = {
    "estimate.made": _("made"),
    "estimate.replaced": _("replaced by a newer one"),
    "estimate.changed": _("figures changed"),
    "estimate.sent": _("sent"),
    "estimate.accepted": _("accepted"),
    "estimate.declined": _("declined"),
    "estimate.taken_back": _("taken back"),
}


def event_words(kind: str) -> str:
    """The words for a kind of event; one that a newer version wrote is shown as it is."""
    return str(EVENT_WORDS.get(kind, kind))
