"""Whether the stock at hand is enough for a day."""

from datetime import datetime

from jobs.mixing.at_hand import Need, stock_needs
from jobs.work.domain.states import CLOSED
from routing.plans.models import DayPlan
from shared import clock


def day_stock_needs(plan: DayPlan, *, now: datetime) -> tuple[Need, ...]:
    """What the stops of a plan that are not over take of each product; nothing for a day that has passed.

    `plan` comes from `plan_in_rows`. Days between today and the plan's are not counted, nor other yards.
    """
    today = clock.local_date(plan.yard.timezone, now)
    if plan.work_date < today:
        return ()
    jobs = [stop.job for route in plan.routes.all() for stop in route.stops.all() if stop.job.state not in CLOSED]
    lines = [(line.service_id, line.quantity) for job in jobs for line in job.lines.all()]
    return stock_needs(quantities=lines, today=today)
