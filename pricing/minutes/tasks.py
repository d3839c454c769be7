"""Work of this room that runs in the background."""

from pricing.minutes.services import model_fit
from shared import clock
from shared.background.registry import background_task
from shared.company.selectors import company_get


@background_task("minutes.learn")
def learn() -> None:
    """Every night; a second run finds nothing new and does nothing."""
    model_fit(today=clock.local_date(company_get().timezone, clock.now()))
