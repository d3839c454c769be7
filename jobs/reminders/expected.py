"""What a yes to a reminder would bring: the price that its answer page names, the crew-minutes, and its chance."""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import NamedTuple

from django.db.models import Count, Exists, ExpressionWrapper, F, OuterRef, Q
from django.db.models.fields import DateTimeField

from jobs.customers.models import Property, Wall
from jobs.reminders.domain.choosing import ResponseRate
from jobs.reminders.domain.due import CHALK
from jobs.reminders.domain.gain import ANSWERED_WITHIN
from jobs.reminders.models import Reminder
from jobs.work.models import Job, VisitLine
from jobs.work.selectors import card_quantity, wall_sqft_by_property
from pricing.catalogue.choices import Unit
from pricing.catalogue.domain import Circumstances, RateTerms
from pricing.catalogue.models import Service
from pricing.catalogue.selectors import rate_terms
from pricing.estimates.domain import card_price, line_minutes
from shared import clock
from shared.outbox.models import MessageState

UNKNOWN_MINUTES = 120  # of a service that is on no rate card, until somebody has looked


class Thing(NamedTuple):
    """A kind of due thing at a property. Chalk is about some of its walls, everything else about the whole house."""

    property_id: int
    kind: str
    wall_ids: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Expected:
    """What a yes brings: the price of the card of the day, None where somebody has to look first, and crew-minutes."""

    price_cents: int | None
    minutes: int


@dataclass(frozen=True)
class Basis:
    """What holds for every property: the service of each kind, the rate card, and how reminders were answered."""

    services: Mapping[str, Service]
    rates: Mapping[str, RateTerms]
    answers: Mapping[tuple[str, str], ResponseRate]

    def chance(self, kind: str, channel: str) -> float | None:
        """Of a yes within ANSWERED_WITHIN, shrunk towards the prior; None where there is no way to write."""
        return self.answers.get((kind, channel), ResponseRate()).mean if channel else None

    def card(self, kind: str, storeys: int, area_sqft: int | None) -> Expected:
        """By the card alone; UNKNOWN_MINUTES where it does not name the work, or how much there is nobody knows."""
        service = self.services.get(kind)
        rate = self.rates.get(service.code) if service else None
        quantity = quantity_of(service, area_sqft) if service else None
        if rate is None or quantity is None:
            return Expected(None, UNKNOWN_MINUTES)
        price = card_price(rate, quantity, Circumstances(storeys=storeys))
        return Expected(price.total_cents, line_minutes(rate, quantity, storeys))


def basis_get(*, today: date, zone: str) -> Basis:
    """The basis as of the beginning of a local day, so that every page of the day says the same."""
    answers = response_rates(now=clock.midnight(today, zone))
    return Basis(services_by_kind(), rate_terms(on=today), answers)


def services_by_kind() -> dict[str, Service]:
    """Services on offer by code, and the removal under `chalk`, where one is offered."""
    offered = list(Service.objects.filter(is_offered=True).order_by("id"))
    found = {service.code: service for service in offered}
    removal = next((service for service in offered if service.removes_chalk), None)
    return found if removal is None else {**found, CHALK: removal}


def expected_of(things: Iterable[Thing], *, places: Mapping[int, Property], basis: Basis) -> dict[Thing, Expected]:
    """A fixed number of queries. Minutes: what the same took there last time; else the card's; else UNKNOWN_MINUTES.
    Of chalk the card's: last time it was other walls."""
    areas = areas_of(things)
    last = _last_minutes({thing.property_id for thing in areas})
    found = {}
    for thing in areas:
        card = basis.card(thing.kind, places[thing.property_id].storeys, areas[thing])
        minutes = last.get((thing.property_id, thing.kind), card.minutes)
        found[thing] = Expected(card.price_cents, minutes)
    return found


def areas_of(things: Iterable[Thing]) -> dict[Thing, int | None]:
    """The square feet of wall that each thing is about, two queries: of chalk its walls, as a condition notice has it,
    None where the area of one is not known; else every face of the house as far as it is known."""
    things = set(things)
    houses = wall_sqft_by_property(property_ids={thing.property_id for thing in things if thing.kind != CHALK})
    walls = Wall.objects.filter(pk__in={wall for thing in things for wall in thing.wall_ids})
    sqft = dict(walls.order_by().values_list("pk", "area_sqft"))
    found: dict[Thing, int | None] = {}
    for thing in things:
        of_walls = [sqft.get(wall) or 0 for wall in thing.wall_ids]
        found[thing] = _sum_of_known(of_walls) if thing.kind == CHALK else houses.get(thing.property_id, 0)
    return found


def _sum_of_known(areas: Collection[int]) -> int | None:
    return sum(areas) if areas and all(areas) else None


def quantity_of(service: Service, area_sqft: int | None) -> int | None:
    """What the card is asked for; None where it charges by wall and the area is not known."""
    if area_sqft is None and service.unit == Unit.WALL_SQFT:
        return None
    return card_quantity(service=service, area_sqft=area_sqft or 0)


def _last_minutes(property_ids: Collection[int]) -> dict[tuple[int, str], int]:
    """By property and code of the service."""
    done = VisitLine.objects.filter(minutes__gt=0, visit__job__property__in=property_ids)
    fields = ("visit__job__property", "service__code", "minutes")
    rows = done.order_by("visit__work_date", "pk").values_list(*fields)
    return {(place, code): minutes for place, code, minutes in rows}


def response_rates(*, now: datetime) -> dict[tuple[str, str], ResponseRate]:
    """By kind and channel: of the reminders that were sent and had time to be answered, how many brought a job."""
    ends = ExpressionWrapper(OuterRef("created_at") + ANSWERED_WITHIN, output_field=DateTimeField())
    came = Job.objects.filter(
        property=OuterRef("property"), created_at__gte=OuterRef("created_at"), created_at__lte=ends
    )
    sent = Reminder.objects.filter(message__state=MessageState.SENT, created_at__lte=now - ANSWERED_WITHIN)
    counted = (
        sent.annotate(channel=F("message__channel"), came=Exists(came))
        .order_by()
        .values("kind", "channel")
        .annotate(asked=Count("pk"), yes=Count("pk", filter=Q(came=True)))
    )
    return {(row["kind"], row["channel"]): ResponseRate(row["yes"], row["asked"]) for row in counted}
