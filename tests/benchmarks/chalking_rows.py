"""A simulated town as rows of a database of its own, and the night's update on them."""

from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

import numpy as np
from django.core.management import call_command
from django.db import connection

from jobs.chalking.services import forecasts_update
from jobs.customers.models import Customer, Property, Wall
from jobs.walkthroughs.models import ChalkReading

NOW = datetime(2026, 6, 1, 8, tzinfo=UTC)
WALLS_EACH = 5
BATCH = 1_000
FACINGS = (0, 90, 180, 270, None)


def database_make() -> None:
    call_command("migrate", verbosity=0)


def store(town: Any, *, latitude: float) -> None:
    """Five walls to a house; readings of nobody in particular, on the town's days."""
    walls = _walls(town, latitude=latitude)
    read = town.readings
    ChalkReading.objects.bulk_create(
        [
            ChalkReading(wall=walls[wall], read_on=day, reading=Decimal(int(step)) / 2, days_since_rain=5)
            for wall, step, day in zip(read.wall, read.step, town.read_on.ravel().tolist(), strict=True)
        ],
        BATCH,
    )


def store_unread(town: Any, *, latitude: float) -> None:
    """As many walls again that nobody read; of every second house only its year is known."""
    walls = _walls(town, latitude=latitude)
    guessed = [wall for wall in walls if wall.property_id % 2]
    for wall in guessed:
        wall.property.year_built, wall.year_fitted = wall.year_fitted, None
    Property.objects.bulk_update({wall.property for wall in guessed}, ["year_built"], BATCH)
    Wall.objects.bulk_update(guessed, ["year_fitted"], BATCH)


def _walls(town: Any, *, latitude: float) -> list[Wall]:
    """The town's walls as new rows."""
    owner = Customer.objects.create(name="Sample", created_at=NOW)
    count = -(-len(town.walls) // WALLS_EACH)
    houses = Property.objects.bulk_create(
        [
            Property(customer=owner, street=f"{n} Sample Street", latitude=latitude, longitude=-82.0)
            for n in range(count)
        ],
        BATCH,
    )
    years = town.since.astype("datetime64[Y]").astype(int) + 1970
    return Wall.objects.bulk_create(
        [
            Wall(
                property=houses[n // WALLS_EACH], name=f"wall {n}", facing_degrees=FACINGS[n % WALLS_EACH],
                year_fitted=int(year), lightness_percent=round(100 * (1 - dark)),
            )
            for n, (year, dark) in enumerate(zip(years, town.walls.darkness, strict=True))
        ],
        BATCH,
    )  # fmt: skip


def read_anew(*, every: int, on: np.datetime64) -> None:
    """A reading of today on one of `every` walls."""
    day: date = on.item()
    read = Wall.objects.filter(readings__isnull=False).order_by("pk").values_list("pk", flat=True).distinct()
    walls = list(read)[::every]
    ChalkReading.objects.bulk_create([ChalkReading(wall_id=pk, read_on=day, reading=Decimal(2)) for pk in walls], BATCH)


def update() -> None:
    forecasts_update(now=NOW)


def close() -> None:
    connection.close()
