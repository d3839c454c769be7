"""What the minutes of job lines depend on, read from the rows: the bridge from jobs to what is learnt of minutes."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import date

from jobs.customers.models import Property, Wall, WallKind
from jobs.work.models import JobLine, Visit
from pricing.catalogue.choices import Unit
from pricing.catalogue.domain import Access, Soil
from pricing.catalogue.models import Service
from pricing.minutes.domain.features import JobFeatures, season_of
from pricing.minutes.inputs import LineBooking
from pricing.minutes.selectors import conditions_of

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
