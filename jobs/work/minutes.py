"""What the minutes of job lines depend on, read from the rows: the bridge from jobs to what is learnt of minutes."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from datetime import date

from django.db.models import prefetch_related_objects
from django.utils.translation import gettext as _

from jobs.customers.models import Property, Wall, WallKind
from jobs.customers.selectors import property_get
from jobs.work.models import Job, JobLine, Visit
from jobs.work.selectors import wall_sqft
from pricing.catalogue.choices import Unit
from pricing.catalogue.domain import Access, Soil
from pricing.catalogue.models import Service
from pricing.minutes.choices import PromisedMinutes, RouteMinutes
from pricing.minutes.domain.features import JobFeatures, season_of
from pricing.minutes.domain.forecast import MinutesForecast
from pricing.minutes.inputs import LineBooking
from pricing.minutes.selectors import conditions_of, forecaster_on, minutes_choice_get, route_minutes
from shared.errors import NotFound, Refused

Conditions = tuple[Access, Soil]
USUAL: Conditions = (Access.USUAL, Soil.USUAL)


def line_features(
    line: JobLine,
    *,
    place: Property,
    walls: Sequence[Wall],
    conditions: Conditions = USUAL,
    crew_code: str = "",
    on: date | None = None,
) -> JobFeatures:
    """What is known of a line. ``walls`` are those of the property, or of the line where it names some.

    Material and chalk count for work on walls alone; of several walls the material of most of the area, and the
    worst of the newest readings. A day that is not known leaves the season open.
    """
    on_walls = walls if line.service.unit == Unit.WALL_SQFT else ()
    return features_for(
        line.service, line.quantity, place=place, walls=on_walls, conditions=conditions, crew_code=crew_code, on=on
    )


def features_for(
    service: Service,
    quantity: int,
    *,
    place: Property,
    walls: Sequence[Wall] = (),
    conditions: Conditions = USUAL,
    crew_code: str = "",
    on: date | None = None,
) -> JobFeatures:
    """The same for work that is not on a job yet; ``walls`` are the walls to be worked on."""
    access, soil = conditions
    return JobFeatures(
        service_code=service.code,
        quantity=max(1, quantity),
        storeys=place.storeys,
        access=access,
        soil=soil,
        chalk_reading=_worst_reading(walls, on),
        material=_material(walls),
        crew_code=crew_code,
        season=season_of(on.month) if on else None,
    )


def conditions_at(place: Property, job: Job | None = None) -> Conditions:
    """Access and soil as somebody said them of ``job``, else of the newest other job at the property; else usual."""
    jobs = sorted(place.jobs.values_list("pk", flat=True), reverse=True)
    said = conditions_of(job_refs=jobs)
    first = [job.pk] if job else []
    return next((said[pk] for pk in [*first, *jobs] if pk in said), USUAL)


def walls_of(property_ids: Iterable[int]) -> dict[int, list[Wall]]:
    """The walls of properties with their readings, two queries."""
    found: dict[int, list[Wall]] = {}
    for wall in Wall.objects.filter(property__in=list(property_ids)).prefetch_related("readings").order_by("pk"):
        found.setdefault(wall.property_id, []).append(wall)
    return found


def bookings_of(visits: Iterable[tuple[Visit, Mapping[int, tuple[int, int]]]]) -> list[LineBooking]:
    """Visits as what is learnt from, those of free returns left out; a fixed number of queries for all.

    Each visit comes with the minutes of each of its job lines, and over how many lines they were split (1: booked).
    """
    worked = list(visits)
    lines = JobLine.objects.filter(pk__in=[pk for _visit, minutes in worked for pk in minutes])
    rows = {
        line.pk: line for line in lines.select_related("service", "job__property").prefetch_related("walls__readings")
    }
    walls = walls_of({line.job.property_id for line in rows.values()})
    conditions = conditions_of(job_refs={visit.job_id for visit, _minutes in worked})
    return [
        _booking(visit, rows[pk], walls, conditions.get(visit.job_id, USUAL), spent, sharing)
        for visit, minutes in worked
        for pk, (spent, sharing) in minutes.items()
        if rows[pk].job.callback_of_id is None
    ]


def property_forecast(
    *,
    property_id: int,
    service_code: str,
    on: date,
    quantity: int | None = None,
    crew_code: str = "",
    access: str = "",
    soil: str = "",
) -> MinutesForecast:
    """How long a service at a property would take on a day, by card and newest model.

    Access and soil that are not given are those said of the newest job there (``conditions_at``).

    ``quantity`` in the unit of the service; for work on walls it defaults to the area of all of them. Raises NotFound
    for a property or service that is not known, Refused for a service on no card or a quantity that has to be given.
    """
    place = property_get(pk=property_id)
    service = Service.objects.filter(code=service_code).first()
    if service is None:
        raise NotFound(_("There is no service %(code)s.") % {"code": service_code})
    on_walls = service.unit == Unit.WALL_SQFT
    many = quantity or (wall_sqft(property=place) if on_walls else 0)
    if not many:
        raise Refused(_("Give the quantity of %(service)s.") % {"service": service.name}, service=service.code)
    said_access, said_soil = conditions_at(place)
    features = features_for(
        service,
        many,
        place=place,
        walls=walls_of([place.pk]).get(place.pk, []) if on_walls else (),
        conditions=(Access(access or said_access), Soil(soil or said_soil)),
        crew_code=crew_code,
        on=on,
    )
    forecast = forecaster_on(on=on).forecast(features)
    if forecast is None:
        raise Refused(_("%(service)s is not on the rate card.") % {"service": service.name}, service=service.code)
    return forecast


def minutes_on_routes(jobs: Sequence[Job], *, on: date, promised: Collection[int]) -> dict[int, int]:
    """Minutes of a two-person crew that the routes of a day allow for each job, as the owner chose; by job.

    ``promised`` are the ids of jobs whose hours were promised. A free return visit keeps the minutes that were set for
    it. One query where routes take what was agreed, otherwise a fixed number.
    """
    choice = minutes_choice_get()
    agreed = {job.pk: sum(line.estimated_minutes for line in job.lines.all()) for job in jobs}
    if (choice.promised, choice.routes) == (PromisedMinutes.MEAN, RouteMinutes.AGREED):
        return agreed
    judged = [job for job in jobs if job.callback_of_id is None]
    prefetch_related_objects([line for job in judged for line in job.lines.all()], "walls__readings")
    forecaster = forecaster_on(on=on)
    walls = walls_of({job.property_id for job in judged})
    conditions = conditions_of(job_refs=[job.pk for job in judged])
    learnt = {
        job.pk: sum(
            route_minutes(
                features=line_features(
                    line,
                    place=job.property,
                    walls=list(line.walls.all()) or walls.get(job.property_id, []),
                    conditions=conditions.get(job.pk, USUAL),
                    on=on,
                ),
                agreed_minutes=line.estimated_minutes,
                promised=job.pk in promised,
                forecaster=forecaster,
                choice=choice,
            )
            for line in job.lines.all()
        )
        for job in judged
    }
    return agreed | learnt


def _booking(
    visit: Visit, line: JobLine, walls: Mapping[int, list[Wall]], conditions: Conditions, spent: int, sharing: int
) -> LineBooking:
    place = line.job.property
    features = line_features(
        line,
        place=place,
        walls=list(line.walls.all()) or walls.get(place.pk, []),
        conditions=conditions,
        crew_code=visit.crew_code,
        on=visit.work_date,
    )
    return LineBooking(line.pk, visit.job_id, visit.work_date, features, spent, visit.workers, sharing)


def _material(walls: Sequence[Wall]) -> str:
    """The material of most of the area; of faces where there are any."""
    faces = [wall for wall in walls if wall.kind == WallKind.FACE] or walls
    areas: dict[str, int] = {}
    for wall in faces:
        areas[wall.material] = areas.get(wall.material, 0) + (wall.area_sqft or 1)
    return max(areas, key=lambda name: (areas[name], name)) if areas else ""


def _worst_reading(walls: Sequence[Wall], on: date | None) -> float | None:
    """The worst of the newest reading of each wall up to the day; None if nobody looked."""
    newest = []
    for wall in walls:
        read = [row for row in wall.readings.all() if on is None or row.read_on <= on]
        if read:
            newest.append(max(read, key=lambda row: (row.read_on, row.pk)).reading)
    return float(max(newest)) if newest else None
