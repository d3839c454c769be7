"""What was decided about a message, as its page says it."""

from django.utils.translation import gettext_lazy as _

EVENT_WORDS = {
    "message.marked_sent": _("it arrived, and counts as sent"),
    "message.sent_again": _("sent again"),
    "message.called_off": _("not to be sent"),
}


def event_words(kind: str) -> str:
    """The words for a kind of event; one that a newer version wrote is shown as it is."""
    return str(EVENT_WORDS.get(kind, kind))
