"""A homeowner's answer to a reminder: what the page shows, and what a tap makes of it. Once for each message."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models import Q, QuerySet
from django.utils.translation import gettext as _

from jobs.customers.models import Customer, Property, Wall
from jobs.customers.selectors import present_customer
from jobs.reminders.domain.answers import ask_again_on
from jobs.reminders.domain.due import Cause
from jobs.reminders.expected import UNKNOWN_MINUTES, areas_of, quantity_of, services_by_kind
from jobs.reminders.kept import cause_of, thing_of
from jobs.reminders.models import (
    AnswerKind,
    AnswerMakes,
    AnswerSettings,
    DueHold,
    Reminder,
    ReminderAnswer,
)
from jobs.reminders.services import opt_out_record
from jobs.work.choices import JobState
from jobs.work.inputs import NewLine, NewWindow
from jobs.work.models import Job, JobLine, JobWindow
from jobs.work.selectors import line_with_card
from jobs.work.services import job_create
from pricing.catalogue.domain import RateTerms
from pricing.catalogue.models import Service
from pricing.catalogue.selectors import rate_terms
from shared import clock
from shared.company.selectors import company_get
from shared.errors import Conflict, NotFound, Refused
from shared.events.services import event_record
from shared.outbox.models import Channel

SOURCE = "reminder"
FreeDays = Callable[[], Sequence[date]]


@dataclass(frozen=True)
class Offered:
    """One thing that the reminder was about, with what it costs by the rate card of today. No line: somebody has to
    look first, since it is not on the card or nobody knows how large a wall is. `walls`: those that it is for; none:
    the whole house."""

    reminder: Reminder
    service: Service
    line: NewLine | None
    walls: tuple[Wall, ...] = ()

    @property
    def cause(self) -> Cause | None:
        """Why it is due, as the message said it."""
        return cause_of(self.reminder)

    @property
    def line_to_book(self) -> NewLine:
        """What is written down for a yes."""
        look_first = NewLine(
            self.service, price_cents=0, estimated_minutes=UNKNOWN_MINUTES, walls=self.walls,
            note=_("price after a look"),
        )  # fmt: skip
        return self.line or look_first


@dataclass(frozen=True)
class Ordered:
    """What a yes brought, as it stands now. `is_agreed`: promised for the day that was chosen."""

    lines: tuple[JobLine, ...]
    is_agreed: bool
    is_off: bool


@dataclass(frozen=True)
class Offer:
    """What a reminder proposes, and the answer where there is one already.

    `agrees_on_day`: a yes with a day is an agreed job, where everything chosen has a price.
    """

    customer: Customer
    written_on: date
    things: tuple[Offered, ...]
    answer: ReminderAnswer | None
    agrees_on_day: bool
    ordered: Ordered | None = None

    @property
    def places(self) -> list[Property]:
        return list({thing.reminder.property_id: thing.reminder.property for thing in self.things}.values())

    @property
    def minutes(self) -> int:
        """Minutes on site of everything that is on the card."""
        return sum(thing.line.estimated_minutes for thing in self.things if thing.line)


@dataclass(frozen=True)
class Answer:
    """What was tapped: the kind, for a yes the chosen things (ids of reminders) and day, for a later the months."""

    kind: str
    reminder_ids: Sequence[int] = ()
    day: date | None = None
    months: int = 3
    note: str = ""


@dataclass(frozen=True)
class _Taken:
    """An answer on its way: what was offered and tapped, the row that will keep it, and when it is."""

    offer: Offer
    answer: Answer
    row: ReminderAnswer
    free_days: FreeDays
    today: date
    now: datetime


def answer_settings_get() -> AnswerSettings:
    settings, _made = AnswerSettings.objects.get_or_create(pk=1)
    return settings


@transaction.atomic
def answer_settings_set(*, makes: str, actor: Any) -> AnswerSettings:
    """Change what a yes becomes. Raises ValidationError."""
    row = answer_settings_get()
    row.makes = makes
    row.full_clean()
    row.save()
    event_record(kind="answers.settings", subject=row, actor=actor, data={"makes": makes})
    return row


def offer_get(*, customer_id: int, written_on: date) -> Offer:
    """What was written to a customer on a local day. Raises NotFound where nothing was, or the customer is gone."""
    customer = present_customer(customer_id)
    reminders = _reminders(customer.pk, written_on) if customer else []
    if customer is None or not reminders:
        raise NotFound(_("What this link was about is no longer there. Please call us."))
    answer = _answers_of(customer, written_on).first()
    agrees = answer_settings_get().makes == AnswerMakes.AGREED
    ordered = _ordered(answer) if answer and answer.jobs else None
    return Offer(customer, written_on, tuple(_things(reminders, written_on)), answer, agrees, ordered)


def written_by(*, customer_id: int, written_on: date) -> str:
    """The channel of what was written to a customer on a local day; text where nothing is known of it any more."""
    customer = present_customer(customer_id)
    reminder = next(iter(_reminders(customer.pk, written_on)), None) if customer else None
    return reminder.message.channel if reminder else Channel.TEXT


@transaction.atomic
def answer_take(*, offer: Offer, answer: Answer, free_days: FreeDays, now: datetime) -> ReminderAnswer:
    """Keep the answer and do what it asks. `free_days` tells on which days the work still fits; it is asked while
    nobody else's yes can take the same room.

    A yes makes one lead or agreed job for each property, by the owner's setting; "not now" and "sold" hold the
    property back; "never" opts the person out of everything. Raises Conflict where the message was answered before,
    Refused for a choice that was not offered.
    """
    Customer.objects.select_for_update().filter(pk=offer.customer.pk).first()
    if _answers_of(offer.customer, offer.written_on).exists():
        raise Conflict(_("This was answered already. Nothing was changed."))
    if answer.kind not in AnswerKind.values:
        raise Refused(_("Choose one of the answers."))
    offer = offer_get(customer_id=offer.customer.pk, written_on=offer.written_on)  # two entries may be one house by now
    today = clock.local_date(company_get().timezone, now)
    row = ReminderAnswer(customer=offer.customer, written_on=offer.written_on, kind=answer.kind, at=now)
    row.note = answer.note.strip()[:500]
    _FOLLOW[AnswerKind(answer.kind)](_Taken(offer, answer, row, free_days, today, now))
    try:
        row.save()
    except IntegrityError as error:
        raise Conflict(_("This was answered already. Nothing was changed.")) from error
    event_record(kind=f"reminder.answered.{answer.kind}", subject=offer.customer, data={"jobs": row.jobs})
    return row


@transaction.atomic
def due_hold_end(*, hold_id: int, actor: Any) -> None:
    """Let a property be reminded again. Raises NotFound."""
    hold = DueHold.objects.filter(pk=hold_id).select_related("property").first()
    if hold is None:
        raise NotFound(_("It is not held back any more."))
    event_record(kind="property.reminders_again", subject=hold.property, actor=actor)
    hold.delete()


def _answers_of(customer: Customer, written_on: date) -> QuerySet[ReminderAnswer]:
    """What was answered to the message of a day, also under an entry that was merged into this one."""
    said = Q(customer=customer) | Q(customer__merged_into=customer)
    return ReminderAnswer.objects.filter(said, written_on=written_on)


def _reminders(customer_id: int, written_on: date) -> list[Reminder]:
    """Those that were written on a local day: each thing at a house once, under the entry as which it goes on."""
    zone = company_get().timezone
    begins, ends = clock.midnight(written_on, zone), clock.midnight(date.fromordinal(written_on.toordinal() + 1), zone)
    here = Q(property__customer=customer_id) | Q(property__joined_into__customer=customer_id)
    rows = Reminder.objects.filter(here, created_at__gte=begins, created_at__lt=ends)
    found: dict[tuple[int, str], Reminder] = {}
    rows = rows.select_related("property__joined_into", "message").prefetch_related("walls")
    for row in rows.order_by("property__street", "id"):
        row.property = row.property.joined_into or row.property
        found.setdefault((row.property_id, row.kind), row)
    return list(found.values())


def _things(reminders: Sequence[Reminder], on: date) -> list[Offered]:
    services, rates = services_by_kind(), rate_terms(on=on)
    things = {reminder: thing_of(reminder) for reminder in reminders if reminder.kind in services}
    areas = areas_of(things.values())
    return [_offered(reminder, services[reminder.kind], rates, areas[thing]) for reminder, thing in things.items()]


def _offered(reminder: Reminder, service: Service, rates: Mapping[str, RateTerms], area_sqft: int | None) -> Offered:
    walls = tuple(reminder.walls.all())
    quantity = quantity_of(service, area_sqft)
    if quantity is None or service.code not in rates:
        return Offered(reminder, service, None, walls)
    line = line_with_card(service=service, place=reminder.property, rates=rates, quantity=quantity)
    return Offered(reminder, service, replace(line, walls=walls), walls)


def _ordered(answer: ReminderAnswer) -> Ordered:
    """What became of the jobs since is the office's to decide, and shown as it is."""
    jobs = Job.objects.filter(pk__in=answer.jobs)
    promised = JobWindow.objects.filter(job__in=answer.jobs, promised=True)
    on_the_day = {row.job_id for row in promised if row.first_date == answer.day}
    lines = JobLine.objects.filter(job__in=answer.jobs).select_related("service").order_by("job_id", "id")
    return Ordered(
        lines=tuple(lines),
        is_agreed=on_the_day == set(answer.jobs),
        is_off=jobs.filter(state__in=(JobState.DECLINED, JobState.CALLED_OFF)).exists(),
    )


def _yes(taken: _Taken) -> None:
    answer, row = taken.answer, taken.row
    AnswerSettings.objects.select_for_update().filter(pk=1).first()
    if answer.day is not None and answer.day not in taken.free_days():
        raise Refused(_("We cannot offer this day any more. Choose another one."))
    chosen = [thing for thing in taken.offer.things if thing.reminder.pk in answer.reminder_ids]
    if not chosen:
        raise Refused(_("Choose what you would like done."))
    row.day = answer.day
    may_agree = answer_settings_get().makes == AnswerMakes.AGREED and answer.day is not None
    for place in taken.offer.places:
        here = [thing for thing in chosen if thing.reminder.property_id == place.pk]
        if here:
            row.jobs.append(_job(taken, place, here, may_agree and all(thing.line for thing in here)))


def _job(taken: _Taken, place: Property, things: Sequence[Offered], is_agreed: bool) -> int:
    day = taken.answer.day
    job = job_create(
        property=place,
        lines=[thing.line_to_book for thing in things],
        windows=[NewWindow(day, day, promised=is_agreed)] if day else [],
        state=JobState.AGREED if is_agreed else JobState.LEAD,
        source=SOURCE,
        note=taken.row.note,
        created_at=taken.now,
    )
    return int(job.pk)


def _not_now(taken: _Taken) -> None:
    try:
        taken.row.ask_again_on = ask_again_on(taken.today, taken.answer.months)
    except ValueError as error:
        raise Refused(_("Choose when we may ask again.")) from error
    _hold(taken, taken.row.ask_again_on)


def _sold(taken: _Taken) -> None:
    _hold(taken, None)


def _never(taken: _Taken) -> None:
    opt_out_record(
        customer=taken.offer.customer,
        channel=Channel.EMAIL,
        everything=True,
        wording=str(_("Never again")),
        source="reminder answer",
        now=taken.now,
    )


def _hold(taken: _Taken, until: date | None) -> None:
    for place in taken.offer.places:
        held = {"until": until, "reason": taken.row.kind, "at": taken.now}
        DueHold.objects.update_or_create(property=place, defaults=held)


_FOLLOW = {AnswerKind.YES: _yes, AnswerKind.NOT_NOW: _not_now, AnswerKind.SOLD: _sold, AnswerKind.NEVER: _never}
