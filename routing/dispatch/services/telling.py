"""Telling customers when the crew comes: the day before, when that changes, and when it is on its way.

Messages about booked work: no advertising, so no opt-out link (15 USC 7702(17)), but whoever said no is left alone.
Nobody is written to at night, and a message that could not go before the crew comes is dropped.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.db import transaction
from django.template.loader import render_to_string
from django.utils import translation
from django.utils.formats import date_format, time_format
from django.utils.translation import gettext as _

from jobs.customers.selectors import why_not_there, zone_of
from routing.dispatch.domain.telling import Window
from routing.dispatch.models import MarkKind, SentStop, StopMark, TellingSettings, ToldKind, ToldTime
from routing.dispatch.selectors.telling import (
    StopToTell,
    gone_to,
    plans_to_tell,
    stop_to_tell,
    stops_to_tell,
    telling_settings_get,
)
from routing.plans.models import DayPlan, Yard
from shared import clock
from shared.company.selectors import company_get
from shared.errors import Conflict, Refused
from shared.events.services import event_record
from shared.outbox.domain.sms import in_cheap_letters_around
from shared.outbox.models import Channel, Message
from shared.outbox.services import dispatch_soon, message_queue
from shared.web.words import phone_words

PURPOSE = "coming"
ON_OUR_WAY_WITHIN = timedelta(minutes=30)


@dataclass(frozen=True)
class _Word:
    """One message: what it says and until when it is worth sending; `number` counts the words about a job and day."""

    kind: ToldKind
    window: Window
    not_after: datetime
    number: int = 0


def customers_tell(*, now: datetime) -> int:
    """Write to everybody who is to be told at `now`; returns how many messages were written. Safe to repeat."""
    if not telling_settings_get().day_before:
        return 0
    written = 0
    for yard in Yard.objects.order_by("pk"):
        today = clock.local_date(yard.timezone, now)
        for plan in plans_to_tell(yard=yard, days=[today, today + timedelta(days=1)]):
            written += plan_tell(plan=plan, now=now)
    if written:
        dispatch_soon()
    return written


def plan_tell(*, plan: DayPlan, now: datetime, at_once: bool = False) -> int:
    """The customers of one day: the first word from the set hour of the day before on (or `at_once`), a change at once.

    Returns how many messages were written.
    """
    day_before = plan.work_date - timedelta(days=1)
    begins = clock.wall_clock_at(day_before, telling_settings_get().from_hour * 60, plan.yard.timezone)
    due = [entry for entry in stops_to_tell(plan=plan, now=now) if entry.channel.channel and entry.news]
    return sum(_tell(entry, plan, now) for entry in due if at_once or entry.news == "changed" or now >= begins)


@transaction.atomic
def on_our_way(*, stop: SentStop, now: datetime, actor: Any = None) -> ToldTime:
    """The crew tells the customer of a stop that it is coming; once for each stop and day.

    The time said is that of driving there from the place before, from now on. Raises Refused where it is switched
    off or nobody can be written to, Conflict where the crew is there already.
    """
    plan = stop.route.sent.plan
    if not telling_settings_get().on_our_way:
        raise Refused(_("Telling customers that you are coming is switched off. Call them instead."))
    if clock.local_date(plan.yard.timezone, now) != plan.work_date:
        raise Refused(_("This stop belongs to another day."))
    if StopMark.objects.filter(job=stop.job, work_date=plan.work_date, kind=MarkKind.ARRIVED).exists():
        raise Conflict(_("You have arrived there already."))
    earlier = ToldTime.objects.filter(job=stop.job, work_date=plan.work_date, kind=ToldKind.ON_OUR_WAY).first()
    if earlier is not None:
        return earlier
    entry = stop_to_tell(stop=stop, plan=plan)
    if not entry.channel.channel:
        raise Refused(_("There is no way to write to this customer. Call them instead."))
    arrives = now + timedelta(minutes=stop.leg_minutes)
    told = _write(entry, plan, _Word(ToldKind.ON_OUR_WAY, (arrives, arrives), arrives + ON_OUR_WAY_WITHIN), now)
    event_record(kind="job.on_our_way", subject=stop.job, actor=actor)
    dispatch_soon()
    return told


def coming_guard(message: Message) -> str:
    """Why a word about a crew's coming must not leave any more; an empty text where it may. Asked right before."""
    told = ToldTime.objects.select_related("job__property__customer").filter(message=message).first()
    if told is None:
        return _("It belongs to no stop any more.")
    if ToldTime.objects.filter(job=told.job_id, work_date=told.work_date, pk__gt=told.pk).exists():
        return _("The customer was told something newer meanwhile.")
    if StopMark.objects.filter(job=told.job_id, work_date=told.work_date, kind=MarkKind.ARRIVED).exists():
        return _("The crew is there already.")
    if not gone_to(job_ids=[told.job_id], work_date=told.work_date):
        return _("The crew does not go there on that day any more.")
    return why_not_there(customer=told.job.property.customer, channel=message.channel, recipient=message.recipient)


@transaction.atomic
def telling_settings_set(*, actor: Any, **values: Any) -> TellingSettings:
    """Change whether and when customers are told. Raises ValidationError."""
    row = telling_settings_get()
    for name, value in values.items():
        setattr(row, name, value)
    row.full_clean()
    row.save()
    event_record(kind="telling.settings", subject=row, actor=actor, data=values)
    return row


@transaction.atomic
def _tell(entry: StopToTell, plan: DayPlan, now: datetime) -> int:
    kind = ToldKind.FIRST if entry.news == "first" else ToldKind.CHANGED
    number = ToldTime.objects.filter(job=entry.stop.job, work_date=plan.work_date).count()
    arrives = clock.at_minute(plan.work_date, entry.stop.arrive_minute, plan.yard.timezone)
    _write(entry, plan, _Word(kind, entry.window, arrives, number), now)
    return 1


def _write(entry: StopToTell, plan: DayPlan, word: _Word, now: datetime) -> ToldTime:
    message = _message(entry, plan, word, now)
    known = ToldTime.objects.filter(message=message).first()
    return known or ToldTime.objects.create(
        job=entry.stop.job,
        work_date=plan.work_date,
        kind=word.kind,
        opens_at=word.window[0],
        closes_at=word.window[1],
        message=message,
        at=now,
    )


def _message(entry: StopToTell, plan: DayPlan, word: _Word, now: datetime) -> Message:
    place = entry.stop.job.property
    customer = place.customer
    with translation.override(customer.language):
        words = _words(entry, plan, word.window)
        body = " ".join(render_to_string(f"dispatch/messages/{customer.language}/{word.kind.value}.txt", words).split())
        if entry.channel.channel == Channel.TEXT:
            body = in_cheap_letters_around(body, kept=(words["firm"], words["street"]))
        subject = _("Our crew at %(street)s") % words if entry.channel.channel == Channel.EMAIL else ""
    message, _is_new = message_queue(
        dedupe_key=f"coming:{entry.stop.job_id}:{plan.work_date.isoformat()}:{word.kind.value}:{word.number}",
        channel=entry.channel.channel,
        purpose=PURPOSE,
        recipient=entry.address,
        recipient_name=customer.name,
        subject=subject[:200],
        body=f"{body}\n",
        language=customer.language,
        not_after=word.not_after,
        quiet_zone="" if word.kind == ToldKind.ON_OUR_WAY else zone_of(place, otherwise=plan.yard.timezone),
        now=now,
    )
    return message


def _words(entry: StopToTell, plan: DayPlan, window: Window) -> dict[str, Any]:
    """What the templates say, in the language that is active."""
    company, zone = company_get(), ZoneInfo(plan.yard.timezone)
    spanish = translation.get_language() == "es"
    opens, closes = (time_format(at.astimezone(zone).time(), "G:i" if spanish else "g:i a") for at in window)
    return {
        "firm": company.name,
        "phone": phone_words(company.phone_e164, company.country) if company.phone_e164 else "",
        "street": entry.stop.job.property.street,
        "day": date_format(plan.work_date, r"l j \d\e F" if spanish else "l, j F"),
        "opens": opens,
        "closes": closes,
    }
