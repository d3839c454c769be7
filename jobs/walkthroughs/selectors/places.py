"""What is known of a property and its walls, as estimates take it."""

from jobs.customers.models import Property
from jobs.walkthroughs.selectors.readings import latest_readings
from jobs.walkthroughs.words import chalk_is_standing
from jobs.work.minutes import conditions_at
from jobs.work.models import Job
from jobs.work.selectors import last_removals
from pricing.estimates.inputs import PlaceFacts, WallFacts


def place_facts(*, place: Property, job: Job | None = None) -> PlaceFacts:
    """The property with its walls; a chalk reading counts as long as no chalk was taken off since.

    Access and soil are those of the job, or of the newest job there for which somebody said so.
    """
    walls = list(place.walls.order_by("pk"))
    ids = [wall.pk for wall in walls]
    access, soil = conditions_at(place, job)
    readings, removals = latest_readings(ids), last_removals(wall_ids=ids)

    def chalk(wall_id: int) -> float | None:
        reading = readings.get(wall_id)
        return float(reading.reading) if reading and chalk_is_standing(reading, removals.get(wall_id)) else None

    return PlaceFacts(
        property_ref=place.pk,
        address=place.address,
        customer_name=place.customer.name,
        language=place.customer.language,
        storeys=place.storeys,
        year_built=place.year_built,
        walls=tuple(
            WallFacts(wall.pk, wall.name, wall.kind, wall.area_sqft, wall.material, chalk(wall.pk)) for wall in walls
        ),
        access=access,
        soil=soil,
    )
