"""What happened to a customer's entry, as its page says it."""

from django.utils.translation import gettext_lazy as _

from shared.events.models import Event

EVENT_WORDS = {
    "customer.created": _("taken down"),
    "customer.changed": _("changed"),
    "customer.merged": _("made one with another entry"),
    "customer.took_over": _("took over another entry"),
    "customer.told_apart": _("told apart from another entry"),
    "consent.given": _("agreed to be written to"),
    "consent.withdrawn": _("wants no more messages"),
    "reminder.answered.yes": _("answered a reminder: wants it"),
    "reminder.answered.not_now": _("answered a reminder: not now"),
    "reminder.answered.sold": _("answered a reminder: sold the house"),
    "reminder.answered.never": _("answered a reminder: never again"),
}
FIELD_WORDS = {
    "name": _("name"),
    "email": _("email"),
    "phone_e164": _("telephone"),
    "language": _("language"),
    "source": _("found us by"),
    "note": _("note"),
    "reference": _("number"),
}


def event_words(event: Event) -> str:
    """The words for what happened, with the fields that were changed; a kind of a newer version is shown as it is."""
    said = str(EVENT_WORDS.get(event.kind, event.kind))
    fields = ", ".join(str(FIELD_WORDS.get(name, name)) for name in event.data.get("fields", []))
    return f"{said}: {fields}" if fields else said
