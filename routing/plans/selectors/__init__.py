"""Reads of this room: the day's problem, plans, runs, crews."""

from routing.plans.selectors.days import (
    day_plan_by_id,
    day_plan_get,
    day_plan_list,
    day_to_show,
    plan_as_json,
    plan_in_rows,
    plan_run_latest,
    working_days_around,
    yard_by_code,
    yard_list,
)
from routing.plans.selectors.inputs import DayInputs, SetAside, day_problem

__all__ = [
    "DayInputs",
    "SetAside",
    "day_plan_by_id",
    "day_plan_get",
    "day_plan_list",
    "day_problem",
    "day_to_show",
    "plan_as_json",
    "plan_in_rows",
    "plan_run_latest",
    "working_days_around",
    "yard_by_code",
    "yard_list",
]
