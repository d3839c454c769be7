"""The due list: what is due, at whose property, and whether its owner may be written to now."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from typing import Any

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
    wait_until,
)
from jobs.reminders.domain.due import CHALK, Due, due, due_key
from jobs.reminders.domain.gain import ANSWERED_WITHIN
from jobs.reminders.models import DueHold, HeldBack, InboundText, Reminder, ReminderAnswer
from jobs.reminders.wording import held_back_words, hold_words, obstacle_words, reason_words, reminded_words, wait_words
from pricing.catalogue.models import Service
from shared import clock
from shared.company.models import Company
from shared.company.selectors import company_get
from shared.errors import NotFound
from shared.outbox.models import MessageState

PAGE = 1000
COUNTS_AS_CONTACT = (MessageState.WAITING, MessageState.SENDING, MessageState.SENT)


@dataclass(frozen=True)
class DueItem:
    """One line of the due list.

    `channel` is the one that a reminder would take, empty where none may be used; `why_not` is empty where a reminder
    may be queued now and otherwise says what stands in the way. `state` is ready, waits, reminded or no_channel.
    """

    key: str
    property_id: int
    customer_id: int
    customer_name: str
    address: str
    street: str
    kind: str
    service_name: str
    due_on: date
    reason: str
    language: str
    last_contact_on: date | None
    state: str
    channel: str
    recipient: str
    why_not: str
    found: Due

    @property
    def is_ready(self) -> bool:
        return self.state == "ready"


def due_list(*, today: date, lead_days: int | None = None, property_ids: Sequence[int] | None = None) -> list[DueItem]:
    """Everything due within the lead time, the earliest first, then by property and kind.

    `lead_days` is the company's unless given; `property_ids` narrows the list to some properties. The number of
    queries grows by one page of owners at a time, not by line.
    """
    company = company_get()
    lead = company.reminder_lead_days if lead_days is None else lead_days
    names = _service_names()
    setting, last_day = chalk_setting_get(), today + timedelta(days=lead)
    chalk_counts = CHALK in names
    found = due(
        rows.interval_facts(last_day=last_day, property_ids=property_ids),
        rows.reading_facts(limit=setting.limit_decimal, property_ids=property_ids) if chalk_counts else (),
        rows.forecast_facts(last_day=last_day, setting=setting, property_ids=property_ids) if chalk_counts else (),
        today=today,
        lead_days=lead,
        limit=setting.limit_decimal,
    )
    return [item for page in _pages(found) for item in _items(page, company, names, today)]


def _pages(found: Sequence[Due]) -> Iterator[Sequence[Due]]:
    for start in range(0, len(found), PAGE):
        yield found[start : start + PAGE]


def _service_names() -> dict[str, str]:
    """Names of the services on offer by code, and of the removal under `chalk`, where one is offered."""
    names: dict[str, str] = {}
    for service in Service.objects.filter(is_offered=True).order_by("-id"):
        names[service.code] = service.name
        if service.removes_chalk:
            names[CHALK] = service.name
    return names


def _items(page: Sequence[Due], company: Company, names: dict[str, str], today: date) -> Iterator[DueItem]:
    places = Property.objects.select_related("customer").in_bulk({found.property_id for found in page})
    customers = {place.customer for place in places.values()}
    consents = rows.consents_by_address(customers)
    held = rows.held_addresses(customers)
    contacts = _last_contacts({customer.pk for customer in customers}, company.timezone)
    reminded, chalk_told = _reminded(places)
    holds = _holds({found.property_id for found in page}, today)
    held_back = _held_back({customer.pk for customer in customers}, company.timezone, today)
    for found in page:
        place = places[found.property_id]
        item = _plain_item(found, place, names, contacts.get(place.customer_id))
        earlier = reminded.get(item.key) or _told_of_forecast(found, chalk_told, company.timezone)
        if earlier is not None:
            yield replace(item, state="reminded", why_not=reminded_words(*earlier, company.timezone))
        elif found.property_id in holds:
            yield replace(item, state="waits", why_not=hold_words(holds[found.property_id]))
        elif place.customer_id in held_back:
            yield replace(item, state="waits", why_not=held_back_words(held_back[place.customer_id]))
        else:
            yield _with_channel(item, place, consents, held, company, today)


def _plain_item(found: Due, place: Property, names: dict[str, str], last_contact_on: date | None) -> DueItem:
    return DueItem(
        key=due_key(found.property_id, found.kind, found.due_on),
        property_id=place.pk,
        customer_id=place.customer_id,
        customer_name=place.customer.name,
        address=place.address,
        street=place.street,
        kind=found.kind,
        service_name=names[found.kind],
        due_on=found.due_on,
        reason=reason_words(found, names[found.kind]),
        language=place.customer.language,
        last_contact_on=last_contact_on,
        state="no_channel",
        channel="",
        recipient="",
        why_not="",
        found=found,
    )


def _with_channel(
    item: DueItem,
    place: Property,
    consents: dict[tuple[str, str], list[ConsentRow]],
    held: dict[tuple[str, str], Obstacle],
    company: Company,
    today: date,
) -> DueItem:
    addresses = rows.addresses_of(place.customer)
    choice = choose_channel(rows.consents_of(place.customer, consents), addresses, rows.held_of(place.customer, held))
    if not choice.channel:
        why_not = _("; ").join(obstacle_words(hindrance, company.timezone) for hindrance in choice.obstacles)
        return replace(item, why_not=why_not)
    item = replace(item, channel=choice.channel, recipient=addresses[choice.channel])
    until = wait_until(item.last_contact_on, today=today, gap_days=company.reminder_gap_days)
    if until and item.last_contact_on:
        return replace(item, state="waits", why_not=wait_words(item.last_contact_on, until))
    return replace(item, state="ready")


def _last_contacts(customer_ids: Iterable[int], zone: str) -> dict[int, date]:
    """The day of the newest reminder to each customer that went out or is about to."""
    newest = (
        Reminder.objects.filter(property__customer_id__in=customer_ids, message__state__in=COUNTS_AS_CONTACT)
        .order_by()
        .values_list("property__customer_id")
        .annotate(at=Max("created_at"))
    )
    return {customer_id: clock.local_date(zone, at) for customer_id, at in newest}


Told = tuple[datetime, str]


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


def answer_list() -> QuerySet[ReminderAnswer]:
    """What homeowners answered, newest first."""
    return ReminderAnswer.objects.select_related("customer").order_by("-at", "-pk")


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
        "language": item.language,
        "last_contact_on": item.last_contact_on.isoformat() if item.last_contact_on else None,
        "state": item.state,
        "channel": item.channel or None,
        "why_not": item.why_not,
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
