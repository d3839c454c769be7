"""What the clock starts at night, and what follows a reading, a removal or a change of a wall."""

from jobs.chalking.services import forecasts_update
from shared import clock
from shared.background.registry import background_task


@background_task("chalking.nightly")
def nightly() -> None:
    forecasts_update(now=clock.now())


@background_task("chalking.forecast_property")
def forecast_property(property_id: int) -> None:
    forecasts_update(now=clock.now(), property_ids=[property_id])
