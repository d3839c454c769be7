"""The ways of a stored plan, searched in the background so that its pages only read."""

from routing.plans.models import DayPlan
from routing.plans.selectors.ways import drive_hours_of, way_points
from routing.roads.services.ways import ways_keep


def plan_ways_find(*, plan_id: int) -> int:
    """Search and keep the ways of all routes; returns how many were missing. 0 for a plan that is gone."""
    plan = DayPlan.objects.filter(pk=plan_id).select_related("yard").first()
    if plan is None:
        return 0
    hours = drive_hours_of(plan)
    routes = plan.routes.prefetch_related("stops__job__property")
    return sum(
        ways_keep(way_points(plan, [stop.job.property for stop in route.stops.all()]), hours=hours) for route in routes
    )
