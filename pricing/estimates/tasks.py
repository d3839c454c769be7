"""What the clock starts."""

from pricing.estimates.services import estimates_nudge
from shared import clock
from shared.background.registry import background_task
from shared.company.selectors import company_get


@background_task("estimates.nudge")
def nudge() -> None:
    now = clock.now()
    estimates_nudge(now=now, today=clock.local_date(company_get().timezone, now))
