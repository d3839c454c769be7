"""Texts that people send us: taken in once, acted upon where they are plain, shown to the office where they are not.

An opt-out is honoured in the same transaction (47 CFR 64.1200(a)(10) allows ten business days). One confirmation may
follow within five minutes and must not advertise (47 CFR 64.1200(a)(12)). Checked on 2026-11-25; not legal advice.
"""

from datetime import datetime, timedelta
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models.functions import Coalesce
from django.template.loader import render_to_string
from django.utils.translation import gettext as _

from jobs.customers.domain.faults import Fault
from jobs.customers.domain.values import read_phone
from jobs.customers.models import Customer, Purpose
from jobs.customers.services import consent_record
from jobs.reminders.domain.replies import Meaning, meaning_of
from jobs.reminders.models import InboundText, TextRead
from jobs.reminders.services import opt_out_record
from shared.company.selectors import company_get
from shared.errors import Conflict, Refused
from shared.outbox.delivery import address_close
from shared.outbox.domain.sms import in_cheap_letters_around
from shared.outbox.models import Channel, Reported
from shared.outbox.services import dispatch_soon, message_queue
from shared.web.words import phone_words

CONFIRMATION = "opt_out_confirmation"
CONFIRM_WITHIN = timedelta(minutes=5)
LONGEST = 1600  # ten parts of a text message


def inbound_text_take(*, event: str, sender: str, body: str, at: datetime) -> InboundText | None:
    """Keep a text that came in and honour what it plainly says; None where this `event` was taken in before.

    Raises Refused for a sender that is no telephone number.
    """
    number = read_phone(sender, "from", region=company_get().country)
    if isinstance(number, Fault) or not number:
        raise Refused(_("The sender is no telephone number."))
    reply = meaning_of(body)
    people = _people_of(number)
    try:
        with transaction.atomic():
            text = InboundText.objects.create(
                event=event,
                sender_e164=number,
                body=body[:LONGEST],
                meaning=reply.meaning.value,
                customer=people[0] if people else None,
                at=at,
            )
            if people and reply.meaning == Meaning.STOP:
                _stop(people[0], text, everything=reply.everything, now=at)
            if not people and reply.meaning == Meaning.STOP:
                _close(text)
            if people and reply.meaning == Meaning.START:
                _start(people, text)
    except IntegrityError:
        if InboundText.objects.filter(event=event).exists():
            return None
        raise
    return text


def _people_of(number: str) -> list[Customer]:
    """Whose number it is; whoever had it before two entries were merged goes on as the other one."""
    had = Customer.objects.filter(phone_e164=number).annotate(now=Coalesce("merged_into", "pk"))
    return list(Customer.objects.filter(pk__in=had.values("now")).order_by("pk"))


@transaction.atomic
def inbound_text_read(*, text: InboundText, actor: Any, now: datetime, note: str = "", stop: str = "") -> TextRead:
    """A person read it. `stop`: "text" for no more texts, "all" for no message of any kind, empty for neither.

    Raises Conflict where it was read before, Refused for an opt-out of a number that belongs to nobody.
    """
    if TextRead.objects.filter(text=text).exists():
        raise Conflict(_("Somebody has read this one already."))
    if stop and text.customer is None:
        raise Refused(_("No customer has this number."))
    if stop and text.customer is not None:
        _opt_out(text.customer, text, everything=stop == "all", now=now, actor=actor)
    return TextRead.objects.create(text=text, note=note.strip()[:200], at=now, by=actor)


def _stop(person: Customer, text: InboundText, *, everything: bool, now: datetime) -> None:
    if _opt_out(person, text, everything=everything, now=now):
        _confirm(person, text, everything=everything, now=now)
    TextRead.objects.create(text=text, note=_("Opted out at once."), at=now)


def _close(text: InboundText) -> None:
    """Nobody we know has the number, perhaps because it was written down wrongly: nothing goes there under any name."""
    address_close(
        channel=Channel.TEXT, address=text.sender_e164, kind=Reported.COMPLAINED, detail=text.body[:500],
        about={"text": text.pk}, at=text.at,
    )  # fmt: skip
    TextRead.objects.create(text=text, note=_("Nobody we know; the number is closed."), at=text.at)


def _opt_out(person: Customer, text: InboundText, *, everything: bool, now: datetime, actor: Any = None) -> int:
    return opt_out_record(
        customer=person,
        channel=Channel.TEXT,
        purpose=Purpose.ALL,
        everything=everything,
        wording=text.body[:500],
        source="text reply",
        now=now,
        actor=actor,
    )


def _start(people: list[Customer], text: InboundText) -> None:
    for person in people:
        consent_record(customer=person, channel=Channel.TEXT, given=True, source="text reply", wording=text.body[:500])
    TextRead.objects.create(text=text, note=_("Agreed to texts again."), at=text.at)


def _confirm(person: Customer, text: InboundText, *, everything: bool, now: datetime) -> None:
    """The one confirmation. It goes at any hour: the person has just written."""
    company = company_get()
    context = {
        "company_name": company.name,
        "phone": phone_words(company.phone_e164, company.country) if company.phone_e164 else "",
        "everything": everything,
    }
    body: str = render_to_string(f"reminders/messages/{person.language}/opt_out_confirmation.txt", context)
    body = in_cheap_letters_around(body, kept=(company.name,))
    message_queue(
        dedupe_key=f"opt-out:{text.pk}",
        channel=Channel.TEXT,
        purpose=CONFIRMATION,
        recipient=text.sender_e164,
        recipient_name=person.name,
        subject="",
        body=" ".join(body.split()),
        language=person.language,
        not_after=now + CONFIRM_WITHIN,
        now=now,
    )
    dispatch_soon()
