"""Rows turned into the facts that the domain judges. Every function is a fixed number of queries; facts come in the
order of their properties."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any, cast

from django.db.models import Exists, F, OuterRef, Q, QuerySet, Subquery
from django.db.models.functions import Lower

from jobs.chalking.models import ChalkSetting, WallForecast
from jobs.customers.models import Consent, Customer
from jobs.reminders.domain.consent import ALL, EMAIL, TEXT, ConsentRow, Obstacle, standing
from jobs.reminders.domain.due import ForecastFact, IntervalFact, ReadingFact
from jobs.reminders.models import InboundText, Reminder, ReplyMeaning
from jobs.walkthroughs.models import ChalkReading
from jobs.work.choices import JobState
from jobs.work.models import JobLine, ServiceInterval, VisitLine
from shared.outbox.models import Message
from shared.outbox.selectors import blocked_among, normal_address

# Work that is agreed, planned or going on: nobody is reminded of what is coming anyway.
COMING = (JobState.AGREED, JobState.PLANNED, JobState.ON_SITE)


def interval_facts(*, last_day: date, property_ids: Sequence[int] | None = None) -> Iterator[IntervalFact]:
    """Intervals that are due by `last_day`, of services on offer, with no such work coming at the property."""
    coming = JobLine.objects.filter(
        service=OuterRef("service"), job__property=OuterRef("property"), job__state__in=COMING
    )
    due = ServiceInterval.objects.filter(~Exists(coming), next_due_on__lte=last_day, service__is_offered=True)
    fields = (
        "property_id", "service__code", "service__removes_chalk", "interval_months", "last_done_on", "next_due_on",
    )  # fmt: skip
    for row in _of(due, "property_id", property_ids).order_by("property_id", "id").values_list(*fields).iterator():
        yield IntervalFact(*row)


def reading_facts(*, limit: Decimal, property_ids: Sequence[int] | None = None) -> Iterator[ReadingFact]:
    """The newest reading of each wall, at `limit` or above, where no removal of it followed and none is coming at the
    property.

    A removal on the day of the reading counts as after it: walls are read before the work starts.
    """
    newer = ChalkReading.objects.filter(
        Q(read_on__gt=OuterRef("read_on")) | Q(read_on=OuterRef("read_on"), pk__gt=OuterRef("pk")),
        wall=OuterRef("wall"),
    )
    removals = {"service__removes_chalk": True}
    removed = VisitLine.objects.filter(
        _of_the_wall(), visit__job__property=OuterRef("wall__property"), visit__work_date__gte=OuterRef("read_on"),
        **removals,
    )  # fmt: skip
    coming = JobLine.objects.filter(job__property=OuterRef("wall__property"), job__state__in=COMING, **removals)
    counting = ChalkReading.objects.filter(
        ~Exists(newer), ~Exists(removed), ~Exists(coming), reading__gte=limit, wall__property__joined_into__isnull=True
    )
    fields = (
        "wall__property_id", "wall_id", "wall__name", "wall__kind", "wall__facing_degrees", "reading", "read_on",
    )  # fmt: skip
    rows = _of(counting, "wall__property_id", property_ids).order_by("wall__property_id", "wall_id")
    for row in rows.values_list(*fields).iterator():
        yield ReadingFact(*row)


def _of_the_wall() -> Q:
    """Work at a property that names the wall, or none: then it was done to all of them."""
    return Q(job_line__walls=OuterRef("wall")) | Q(job_line__walls__isnull=True)


def forecast_facts(
    *, last_day: date, setting: ChalkSetting, property_ids: Sequence[int] | None = None
) -> Iterator[ForecastFact]:
    """Walls that pass the limit by `last_day`, below it when last read, where no removal followed or is coming.

    A wall whose present surface nobody has read makes nothing due: a message says what was seen on a wall.
    """
    day = f"{setting.due_when}_on"
    removals = {"service__removes_chalk": True}
    removed = VisitLine.objects.filter(
        _of_the_wall(), visit__job__property=OuterRef("wall__property"), visit__work_date__gt=OuterRef("since"),
        **removals,
    )  # fmt: skip
    coming = JobLine.objects.filter(job__property=OuterRef("wall__property"), job__state__in=COMING, **removals)
    newest = ChalkReading.objects.filter(wall=OuterRef("wall")).order_by("-read_on", "-id").values("reading")[:1]
    passing = (
        WallForecast.objects.filter(
            ~Exists(removed), ~Exists(coming), refusal="", is_untested=False, limit_half_steps=setting.limit_half_steps,
            **{f"{day}__lte": last_day},
        )
        .annotate(reading=Subquery(newest))
        .filter(reading__lt=setting.limit_decimal)
    )  # fmt: skip
    fields = (
        "wall__property_id", "wall_id", "wall__name", "wall__kind", "wall__facing_degrees", "reading", "last_read_on",
        day, "early_on", "late_on",
    )  # fmt: skip
    passing = _of(passing, "wall__property_id", property_ids).order_by("wall__property_id", "wall_id")
    for row in passing.values_list(*fields).iterator():
        yield ForecastFact(*row)


def _of(rows: QuerySet[Any], field: str, property_ids: Sequence[int] | None) -> QuerySet[Any]:
    return rows if property_ids is None else rows.filter(**{f"{field}__in": property_ids})


def addresses_of(customer: Customer) -> dict[str, str]:
    return {EMAIL: customer.email, TEXT: customer.phone_e164}


def consents_by_address(customers: Iterable[Customer]) -> dict[tuple[str, str], list[ConsentRow]]:
    """All that was ever said for an address, by channel and address; mail addresses in lower case.

    By address and not by customer: where two customers share one, the opt-out of either must hold for both.
    """
    known = list(customers)
    emails = {customer.email.lower() for customer in known if customer.email}
    phones = {customer.phone_e164 for customer in known if customer.phone_e164}
    found: dict[tuple[str, str], list[ConsentRow]] = {}
    by_email = Consent.objects.annotate(address=Lower("customer__email")).filter(channel=EMAIL, address__in=emails)
    by_phone = Consent.objects.annotate(address=F("customer__phone_e164")).filter(channel=TEXT, address__in=phones)
    for said in (by_email, by_phone):
        for address, *row in said.order_by("id").values_list("address", "channel", "purpose", "given", "at", "id"):
            consent = ConsentRow(*cast(tuple[str, str, bool, datetime, int], tuple(row)))
            found.setdefault((consent.channel, str(address)), []).append(consent)
    return found


def consents_of(customer: Customer, consents: dict[tuple[str, str], list[ConsentRow]]) -> list[ConsentRow]:
    return [
        *consents.get((EMAIL, customer.email.lower()), []),
        *consents.get((TEXT, customer.phone_e164), []),
    ]


def held_addresses(customers: Iterable[Customer]) -> dict[tuple[str, str], Obstacle]:
    """Addresses that must not be written to for now, by channel and address, whatever was agreed.

    Closed ones, and numbers from which something came that may be an opt-out and that nobody has read.
    """
    addresses = {pair for customer in customers for pair in addresses_of(customer).items() if pair[1]}
    found = {key: Obstacle(row.channel, "closed", row.since) for key, row in blocked_among(addresses).items()}
    phones = {address for channel, address in addresses if channel == TEXT}
    unread = unread_texts().filter(sender_e164__in=phones)
    for phone, at in unread.order_by("-at").values_list("sender_e164", "at"):
        found[TEXT, phone] = Obstacle(TEXT, "unread", at)
    return found


def unread_texts() -> QuerySet[InboundText]:
    """Texts that may be an opt-out and that nobody has read."""
    return InboundText.objects.filter(meaning=ReplyMeaning.UNCLEAR, read__isnull=True)


def held_of(customer: Customer, held: dict[tuple[str, str], Obstacle]) -> dict[str, Obstacle]:
    """What holds back each channel of the customer. An unread reply holds back mail as well."""
    pairs = addresses_of(customer).items()
    mine = {
        channel: held[channel, normal_address(channel, address)]
        for channel, address in pairs
        if (channel, normal_address(channel, address)) in held
    }
    unread = mine.get(TEXT)
    if unread is not None and unread.code == "unread":
        mine.setdefault(EMAIL, Obstacle(EMAIL, "unread", unread.at))
    return mine


@dataclass(frozen=True)
class Contact:
    """Where a customer can be written to now; `unread_since`: a text from there may be an opt-out, nobody read it."""

    email: str
    phone_e164: str
    unread_since: datetime | None

    def address(self, channel: str) -> str:
        return self.email if channel == EMAIL else self.phone_e164


def contacts_of(message: Message) -> set[Contact]:
    """Of the customers whose properties a reminder is about; one statement."""
    unread = unread_texts().filter(sender_e164=OuterRef("property__customer__phone_e164"))
    reminders = Reminder.objects.filter(message=message).order_by()
    reminders = reminders.annotate(unread_since=Subquery(unread.order_by("at").values("at")[:1]))
    found = reminders.values_list("property__customer__email", "property__customer__phone_e164", "unread_since")
    return {Contact(*row) for row in found}


def said_at(channel: str, address: str) -> list[ConsentRow]:
    """All that anybody with this address ever said about the channel; one statement."""
    is_mail = channel == EMAIL
    of_address = Consent.objects.annotate(address=Lower("customer__email") if is_mail else F("customer__phone_e164"))
    said = of_address.filter(channel=channel, address=address.lower() if is_mail else address).order_by("id")
    return [ConsentRow(*row) for row in said.values_list("channel", "purpose", "given", "at", "id")]


def want_nothing(said: Iterable[ConsentRow], channel: str) -> bool:
    """Whether the last word about messages of every kind was no."""
    return standing(said, channel, purposes=(ALL,)).opted_out_at is not None
