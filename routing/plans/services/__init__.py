"""Changes of this room: planning a day, changing a plan by hand, crews' hours."""

from routing.plans.services.changing import job_put_in, plan_change, stop_lock, stop_move, stop_take_out, stop_unlock
from routing.plans.services.crews import shift_exception_clear, shift_exception_set
from routing.plans.services.replanning import News, day_replan, replan_get_ready
from routing.plans.services.runs import day_plan_make, plan_run_execute, plan_run_request, plan_runs_reap
from routing.plans.services.weeks import (
    week_plan_execute,
    week_plan_make,
    week_plan_request,
    week_plans_reap,
    week_take_over,
    week_take_over_request,
)

__all__ = [
    "News",
    "day_plan_make",
    "day_replan",
    "job_put_in",
    "plan_change",
    "plan_run_execute",
    "plan_run_request",
    "plan_runs_reap",
    "replan_get_ready",
    "shift_exception_clear",
    "shift_exception_set",
    "stop_lock",
    "stop_move",
    "stop_take_out",
    "stop_unlock",
    "week_plan_execute",
    "week_plan_make",
    "week_plan_request",
    "week_plans_reap",
    "week_take_over",
    "week_take_over_request",
]
