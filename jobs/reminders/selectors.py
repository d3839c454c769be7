"""The due list: what is due, at whose property, and whether its owner may be written to now."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from itertools import islice
from typing import Any, NamedTuple

from django.db.models import Case, F, IntegerField, Max, Q, QuerySet, Value, When
from django.utils.translation import gettext as _

from jobs.chalking.selectors import chalk_setting_get
from jobs.customers.models import Customer, Property
from jobs.reminders import rows
from jobs.reminders.domain.consent import (
    ChannelChoice,
    ConsentRow,
    Obstacle,
    choose_channel,
    choose_for_booked_work,
    standing,
    wait_until,
)
from jobs.reminders.domain.due import CHALK, Cause, Due, due_in_turn, due_key
from jobs.reminders.domain.gain import ANSWERED_WITHIN
from jobs.reminders.expected import Basis, Thing, basis_get, expected_of
from jobs.reminders.models import DueHold, HeldBack, InboundText, Reminder, ReminderAnswer
from jobs.reminders.wording import (
    consent_words,
    held_back_words,
    hold_words,
    obstacle_words,
    reason_words,
    reminded_words,
    wait_words,
)
from shared import clock
from shared.company.models import Company
from shared.company.selectors import company_get
from shared.errors import NotFound
from shared.outbox.models import MessageState
from shared.units import round_half_up

CHUNK = 1000
COUNTS_AS_CONTACT = (MessageState.WAITING, MessageState.SENDING, MessageState.SENT)


class DueItem(NamedTuple):
    """One line of the due list; a tuple, since a large company has a hundred thousand of them.

    `channel` is the one that a reminder would take, empty where none may be used, and `consent` says what allows it;
    `why_not` is empty where a reminder may be queued now and otherwise says what stands in the way. `state` is ready,
    waits, reminded or no_channel. A yes would bring `price_cents` (None: somebody has to look first) for `minutes` of
    a crew, with the `chance` that was learned of answers by kind and channel (None where there is no way to write).
    `wall_ids` are the walls that price and minutes are for; none: the whole house.
    """

    key: str
    property_id: int
    customer_id: int
    customer_name: str
    address: str
    street: str
    place: tuple[float, float] | None
    kind: str
    service_name: str
    due_on: date
    reason: str
    language: str
    last_contact_on: date | None
    state: str
    channel: str
    recipient: str
    consent: str
    why_not: str
    price_cents: int | None
    minutes: int
    chance: float | None
    cause: Cause
    wall_ids: tuple[int, ...] = ()

    @property
    def is_ready(self) -> bool:
        return self.state == "ready"


def due_list(*, today: date, lead_days: int | None = None, property_ids: Sequence[int] | None = None) -> list[DueItem]:
    """Everything due within the lead time, the earliest first, then by property and kind.

    `lead_days` is the company's unless given; `property_ids` narrows the list to some properties. One property after
    the other is judged by the domain: every message rests on this. For a company of any size see `listing.DueSheet`,
    which finds the same.
    """
    items = due_items(today=today, lead_days=lead_days, property_ids=property_ids)
    return sorted(items, key=lambda item: (item.due_on, item.property_id, item.kind))


def due_items(
    *, today: date, lead_days: int | None = None, property_ids: Sequence[int] | None = None
) -> Iterator[DueItem]:
    """The same in the order of properties, made while they are read: no more than CHUNK lines are held at a time.

    The number of queries grows by chunk, not by line.
    """
    company = company_get()
    basis = basis_get(today=today, zone=company.timezone)
    found = _found(company, CHALK in basis.services, today, lead_days, property_ids)
    while chunk := list(islice(found, CHUNK)):
        yield from _items(chunk, company, basis, today)


def _found(
    company: Company, chalk_counts: bool, today: date, lead_days: int | None, property_ids: Sequence[int] | None
) -> Iterator[Due]:
    lead = company.reminder_lead_days if lead_days is None else lead_days
    setting, last_day = chalk_setting_get(), today + timedelta(days=lead)
    return due_in_turn(
        rows.interval_facts(last_day=last_day, property_ids=property_ids),
        rows.reading_facts(limit=setting.limit_decimal, property_ids=property_ids) if chalk_counts else (),
        rows.forecast_facts(last_day=last_day, setting=setting, property_ids=property_ids) if chalk_counts else (),
        today=today,
        lead_days=lead,
        limit=setting.limit_decimal,
    )


Told = tuple[datetime, str]


@dataclass(frozen=True)
class _Known:
    """What is known of the owners and properties of one chunk, read at once."""

    consents: dict[tuple[str, str], list[ConsentRow]]
    held: dict[tuple[str, str], Obstacle]
    contacts: dict[int, date]
    reminded: dict[str, Told]
    chalk_told: dict[int, Told]
    holds: dict[int, DueHold]
    held_back: dict[int, date]


def _known(places: Mapping[int, Property], company: Company, today: date) -> _Known:
    customers = {place.customer for place in places.values()}
    ids = {customer.pk for customer in customers}
    reminded, chalk_told = _reminded(places)
    return _Known(
        consents=rows.consents_by_address(customers),
        held=rows.held_addresses(customers),
        contacts=_last_contacts(ids, company.timezone),
        reminded=reminded,
        chalk_told=chalk_told,
        holds=_holds(places, today),
        held_back=_held_back(ids, company.timezone, today),
    )


def _items(chunk: Sequence[Due], company: Company, basis: Basis, today: date) -> Iterator[DueItem]:
    places = Property.objects.select_related("customer").in_bulk({found.property_id for found in chunk})
    known = _known(places, company, today)
    things = [Thing(found.property_id, found.kind, found.wall_ids) for found in chunk]
    worth = expected_of(things, places=places, basis=basis)
    for found, thing in zip(chunk, things, strict=True):
        place = places[found.property_id]
        choice, recipient, consent = _way(place.customer, known, company.timezone)
        state, why_not = _state(found, place, choice, known, company, today)
        service_name = basis.services[found.kind].name
        yield DueItem(
            key=due_key(found.property_id, found.kind, found.due_on),
            property_id=place.pk,
            customer_id=place.customer_id,
            customer_name=place.customer.name,
            address=place.address,
            street=place.street,
            place=place.coordinates,
            kind=found.kind,
            service_name=service_name,
            due_on=found.due_on,
            reason=reason_words(found.cause, service_name),
            language=place.customer.language,
            last_contact_on=known.contacts.get(place.customer_id),
            state=state,
            channel=choice.channel,
            recipient=recipient,
            consent=consent,
            why_not=why_not,
            price_cents=worth[thing].price_cents,
            minutes=worth[thing].minutes,
            chance=basis.chance(found.kind, choice.channel),
            cause=found.cause,
            wall_ids=found.wall_ids,
        )


def _way(customer: Customer, known: _Known, zone: str) -> tuple[ChannelChoice, str, str]:
    """How a reminder would go, to which address, and what allows it in words."""
    addresses, said = rows.addresses_of(customer), rows.consents_of(customer, known.consents)
    choice = choose_channel(said, addresses, rows.held_of(customer, known.held))
    if not choice.channel:
        return choice, "", ""
    agreed_at = standing(said, choice.channel).agreed_at
    agreed_on = agreed_at and clock.local_date(zone, agreed_at)
    return choice, addresses[choice.channel], consent_words(agreed_on, choice.channel)


def _state(
    found: Due, place: Property, choice: ChannelChoice, known: _Known, company: Company, today: date
) -> tuple[str, str]:
    """Whether a reminder may be queued now, and what stands in the way where it may not."""
    zone = company.timezone
    key = due_key(found.property_id, found.kind, found.due_on)
    earlier = known.reminded.get(key) or _told_of_forecast(found, known.chalk_told, zone)
    if earlier is not None:
        return "reminded", reminded_words(*earlier, zone)
    if place.pk in known.holds:
        return "waits", hold_words(known.holds[place.pk].until)
    if place.customer_id in known.held_back:
        return "waits", held_back_words(known.held_back[place.customer_id])
    if not choice.channel:
        return "no_channel", _("; ").join(obstacle_words(hindrance, zone) for hindrance in choice.obstacles)
    last = known.contacts.get(place.customer_id)
    until = wait_until(last, today=today, gap_days=company.reminder_gap_days)
    return ("waits", wait_words(last, until)) if until and last else ("ready", "")


def _last_contacts(customer_ids: Iterable[int], zone: str) -> dict[int, date]:
    """The day of the newest reminder to each customer that went out or is about to."""
    newest = (
        Reminder.objects.filter(property__customer_id__in=customer_ids, message__state__in=COUNTS_AS_CONTACT)
        .order_by()
        .values_list("property__customer_id")
        .annotate(at=Max("created_at"))
    )
    return {customer_id: clock.local_date(zone, at) for customer_id, at in newest}


def _reminded(property_ids: Iterable[int]) -> tuple[dict[str, Told], dict[int, Told]]:
    """When each due thing was written about, by key, and the state of that message; and the newest about chalk, by
    property."""
    written = Reminder.objects.filter(property_id__in=list(property_ids)).order_by("created_at", "id")
    by_key: dict[str, Told] = {}
    about_chalk: dict[int, Told] = {}
    for place, kind, due_on, at, state in written.values_list(
        "property_id", "kind", "due_on", "created_at", "message__state"
    ):
        by_key[due_key(place, kind, due_on)] = (at, state)
        if kind == CHALK:
            about_chalk[place] = (at, state)
    return by_key, about_chalk


def _told_of_forecast(found: Due, chalk_told: dict[int, Told], zone: str) -> Told | None:
    """The reminder about a forecast's walls since they were last read: its day moves a little each night, and nobody is
    written to twice for that."""
    told = chalk_told.get(found.property_id)
    if told is None or found.last_read_on is None or clock.local_date(zone, told[0]) < found.last_read_on:
        return None
    return told


def _holds(property_ids: Iterable[int], today: date) -> dict[int, DueHold]:
    """The properties that are not to be reminded today."""
    still = Q(until__isnull=True) | Q(until__gt=today)
    return {hold.property_id: hold for hold in DueHold.objects.filter(still, property__in=list(property_ids))}


def _held_back(customer_ids: Iterable[int], zone: str, today: date) -> dict[int, date]:
    """Customers who are held back to learn what comes anyway, and from which day on they may be written to again."""
    since = clock.midnight(today - ANSWERED_WITHIN, zone)
    lately = HeldBack.objects.filter(property__customer__in=list(customer_ids), at__gte=since).order_by("at", "id")
    return {
        customer_id: clock.local_date(zone, at) + ANSWERED_WITHIN
        for customer_id, at in lately.values_list("property__customer", "at")
        if clock.local_date(zone, at) + ANSWERED_WITHIN > today
    }


def answer_list(*, kind: str = "") -> QuerySet[ReminderAnswer]:
    """What homeowners answered, newest first; only one kind of answer where one is named."""
    answers = ReminderAnswer.objects.filter(**({"kind": kind} if kind else {}))
    return answers.select_related("customer").order_by("-at", "-pk")


def hold_list() -> QuerySet[DueHold]:
    """Properties that are held back, those that were sold first."""
    return DueHold.objects.select_related("property__customer").order_by(F("until").asc(nulls_first=True), "pk")


def due_item_json(item: DueItem) -> dict[str, Any]:
    """The line as the command and the API give it."""
    return {
        "key": item.key,
        "property_id": item.property_id,
        "customer_id": item.customer_id,
        "customer_name": item.customer_name,
        "address": item.address,
        "kind": item.kind,
        "service_name": item.service_name,
        "due_on": item.due_on.isoformat(),
        "reason": item.reason,
        "wall_ids": list(item.wall_ids),
        "language": item.language,
        "last_contact_on": item.last_contact_on.isoformat() if item.last_contact_on else None,
        "state": item.state,
        "channel": item.channel or None,
        "consent": item.consent,
        "why_not": item.why_not,
        "price_cents": item.price_cents,
        "crew_minutes": item.minutes,
        "chance_percent": None if item.chance is None else round_half_up(100 * item.chance),
        "latitude": item.place[0] if item.place else None,
        "longitude": item.place[1] if item.place else None,
    }


def inbound_texts(*, unread_only: bool = False) -> QuerySet[InboundText]:
    """Texts that came in: those nobody has read first, the doubtful ones before the others, then the newest."""
    texts = InboundText.objects.select_related("customer", "read__by")
    if unread_only:
        texts = texts.filter(read__isnull=True)
    urgency = Case(
        When(read__isnull=True, meaning="unclear", then=Value(0)),
        When(read__isnull=True, then=Value(1)),
        default=Value(2),
        output_field=IntegerField(),
    )
    return texts.annotate(urgency=urgency).order_by("urgency", "-at", "-id")


def inbound_text_get(*, pk: int) -> InboundText:
    """One text that came in. Raises NotFound."""
    text = InboundText.objects.select_related("customer").filter(pk=pk).first()
    if text is None:
        raise NotFound(_("There is no such text."))
    return text


def channels_for_booked_work(customers: Iterable[Customer]) -> dict[int, tuple[ChannelChoice, str]]:
    """By customer: how to write about booked work, and the address; a fixed number of queries.

    What may be unread holds back advertising only: a customer who asked something still hears when the crew comes.
    """
    known = list({customer.pk: customer for customer in customers}.values())
    consents, held = rows.consents_by_address(known), rows.held_addresses(known)
    found = {}
    for customer in known:
        addresses = rows.addresses_of(customer)
        closed = {each: hold for each, hold in rows.held_of(customer, held).items() if hold.code == "closed"}
        choice = choose_for_booked_work(rows.consents_of(customer, consents), addresses, closed)
        found[customer.pk] = (choice, addresses.get(choice.channel, ""))
    return found
