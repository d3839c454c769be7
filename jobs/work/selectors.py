from collections.abc import Collection, Iterable, Mapping
from datetime import date, datetime

from django.db.models import Avg, Max, Min, Prefetch, Q, QuerySet, Sum
from django.utils.translation import gettext as _

from jobs.customers.models import Property, Wall, WallKind
from jobs.work.domain.reactions import Poured as PouredLine
from jobs.work.domain.town_parts import town_part
from jobs.work.inputs import NewLine
from jobs.work.models import Job, JobLine, Poured, StepMark, Visit, VisitLine
from jobs.work.pour_record import poured_entries
from pricing.catalogue.choices import Unit
from pricing.catalogue.domain import RateTerms
from pricing.catalogue.models import Service
from pricing.earnings.domain.facts import BookingFacts
from pricing.estimates.domain import line_estimate
from shared.errors import NotFound, Refused


def job_list(*, state: str = "", words: str = "") -> QuerySet[Job]:
    """Jobs, newest first, with what a list shows; `words` are looked for in names, streets and references."""
    jobs = Job.objects.select_related("property__customer").prefetch_related(
        Prefetch("lines", JobLine.objects.select_related("service")), "windows"
    )
    if state:
        jobs = jobs.filter(state=state)
    for word in words.split():
        jobs = jobs.filter(
            Q(property__customer__name__icontains=word)
            | Q(property__street__icontains=word)
            | Q(property__city__icontains=word)
            | Q(reference__iexact=word)
        )
    return jobs.order_by("-id")


def job_get(*, pk: int) -> Job:
    """One job with its customer, lines, walls and days. Raises NotFound."""
    job = job_list().prefetch_related("lines__walls").filter(pk=pk).first()
    if job is None:
        raise NotFound(_("There is no job %(number)s.") % {"number": pk})
    return job


def visit_list(*, job: Job) -> QuerySet[Visit]:
    """What was booked for a job, newest first, corrections and what they correct included."""
    lines = VisitLine.objects.select_related("service")
    return job.visits.select_related("recorded_by").prefetch_related(Prefetch("lines", lines), "corrections")


def service_history(*, property: Property) -> QuerySet[VisitLine]:
    """Every service done at a property, newest first; of a corrected visit only the newest stands."""
    lines = VisitLine.objects.filter(visit__job__property=property, visit__corrections__isnull=True)
    return lines.select_related("service", "visit__job").order_by("-visit__work_date", "-id")


def last_removals(*, wall_ids: Collection[int]) -> dict[int, date]:
    """The day on which chalk was last taken off each wall; walls where it never was are not in the answer.

    A removal line that names walls counts for those, one that names none for every wall of the property. Readings
    are measured, so a removal writes none: whether a reading is older than the removal is for the reader to compare.
    """
    removals = VisitLine.objects.filter(service__removes_chalk=True)
    named = removals.filter(job_line__walls__in=wall_ids)
    whole = removals.filter(job_line__walls__isnull=True, visit__job__property__walls__in=wall_ids)
    found: dict[int, date] = {}
    for lines, wall in ((named, "job_line__walls__id"), (whole, "visit__job__property__walls__id")):
        for wall_id, day in lines.order_by(wall).values_list(wall).annotate(day=Max("visit__work_date")):
            found[wall_id] = max(day, found.get(wall_id, day))
    return found


def last_removal_on(*, wall: Wall) -> date | None:
    """The day on which chalk was last taken off one wall, or None."""
    return last_removals(wall_ids=[wall.pk]).get(wall.pk)


def line_with_card(
    *,
    service: Service,
    place: Property,
    rates: Mapping[str, RateTerms],
    quantity: int | None = None,
    minutes: int | None = None,
    price_cents: int | None = None,
) -> NewLine:
    """A new line on which what is None comes from the rate card, and the quantity of wall from the property.

    Raises Refused where minutes or price are wanted for a service that is not on the card.
    """
    known = quantity or _quantity(service, place)
    rate = rates.get(service.code)
    if rate is None:
        if minutes is None or price_cents is None:
            words = _("%(service)s is not on the rate card. Give its minutes and its price.")
            raise Refused(words % {"service": service.name}, service=service.code)
        return NewLine(service, price_cents, minutes, known)
    card = line_estimate(rate, known, place.storeys)
    return NewLine(
        service=service,
        quantity=known,
        estimated_minutes=card.minutes if minutes is None else minutes,
        price_cents=card.price_cents if price_cents is None else price_cents,
        materials_cents=card.materials_cents,
        card_price_cents=card.price_cents,
    )


def _quantity(service: Service, place: Property) -> int:
    area_sqft = wall_sqft(property=place) if service.unit == Unit.WALL_SQFT else 0
    return card_quantity(service=service, area_sqft=area_sqft)


def card_quantity(*, service: Service, area_sqft: int) -> int:
    """What the card is asked for where nobody measured: the walls of a property where it charges by wall, else one."""
    return max(1, area_sqft) if service.unit == Unit.WALL_SQFT else 1


def wall_sqft(*, property: Property) -> int:
    """The property's wall area as far as it is known; shutters and doors do not count."""
    return wall_sqft_by_property(property_ids=[property.pk]).get(property.pk, 0)


def wall_sqft_by_property(*, property_ids: Collection[int]) -> dict[int, int]:
    """The same for many properties; those without a known area are left out."""
    faces = Wall.objects.filter(property__in=property_ids, kind=WallKind.FACE, area_sqft__isnull=False)
    return dict(faces.order_by().values_list("property").annotate(total=Sum("area_sqft")))


def poured_list(*, job_id: int) -> QuerySet[Poured]:
    """What was poured and rinsed on a job, newest first."""
    rows = Poured.objects.filter(job=job_id).select_related("wall", "product", "recorded_by")
    return rows.order_by("-at", "-id")


def poured_on_wall(*, wall: Wall) -> QuerySet[Poured]:
    """What was poured and rinsed on a wall, or on its whole house, newest first; also under the same name where its
    house was two entries once."""
    here = Q(job__property=wall.property_id) & (Q(wall__isnull=True) | Q(wall__name__iexact=wall.name))
    rows = Poured.objects.filter(Q(wall=wall) | here)
    return rows.select_related("wall", "product", "recorded_by").order_by("-at", "-id")


def poured_record(*, property_id: int) -> list[PouredLine]:
    """What was ever poured and rinsed at a property, oldest first."""
    return [entry.line for entry in poured_entries(property_ids=[property_id])]


def steps_done(*, job_ids: Collection[int]) -> dict[tuple[int, str], datetime]:
    """When each step of some jobs' lines was done, by (line id, step); the newest mark counts."""
    found: dict[tuple[int, str], datetime] = {}
    for mark in StepMark.objects.filter(job_line__job__in=job_ids).order_by("at", "id"):
        if mark.is_done:
            found[mark.job_line_id, mark.step] = mark.at
        else:
            found.pop((mark.job_line_id, mark.step), None)
    return found


def booking_facts(worked: Mapping[int, date]) -> dict[int, BookingFacts]:
    """What the ledger keeps of jobs beside their money and time, by job id; ``worked`` says when each was worked.

    A customer is returning who was visited on an earlier day for another job. The middle of a town is that of all
    its known properties. Without a source of its own a job has the customer's. Three queries for any number of jobs.
    """
    jobs = list(Job.objects.filter(pk__in=worked).select_related("property__customer"))
    centres = _town_centres({job.property.city for job in jobs})
    first_visits = _first_visits({job.property.customer_id for job in jobs})
    return {
        job.pk: _facts_of(
            job, centres, is_returning=first_visits.get(job.property.customer_id, date.max) < worked[job.pk]
        )
        for job in jobs
    }


def _facts_of(job: Job, centres: Mapping[str, tuple[float, float]], *, is_returning: bool) -> BookingFacts:
    place, part = job.property, ""
    if place.latitude is not None and place.longitude is not None:
        part = town_part((place.latitude, place.longitude), centres[place.city])
    return BookingFacts(
        storeys=place.storeys,
        city=place.city,
        town_part=part,
        lead_source=job.source or place.customer.source,
        is_returning=is_returning,
    )


def _town_centres(cities: Iterable[str]) -> dict[str, tuple[float, float]]:
    located = Property.objects.filter(city__in=cities, latitude__isnull=False).order_by("city").values("city")
    return {
        row["city"]: (row["lat"], row["lon"]) for row in located.annotate(lat=Avg("latitude"), lon=Avg("longitude"))
    }


def _first_visits(customer_ids: Iterable[int]) -> dict[int, date]:
    visits = Visit.objects.filter(job__property__customer__in=customer_ids).order_by("job__property__customer")
    rows = visits.values_list("job__property__customer").annotate(first=Min("work_date"))
    return dict(rows)
