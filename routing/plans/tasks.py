"""Work of this room that runs in the background."""

from django.contrib.auth import get_user_model

from routing.plans.selectors import yard_list
from routing.plans.services import plan_run_execute, plan_runs_reap, week_plan_execute, week_plans_reap, week_take_over
from routing.plans.services.learning import drives_learn
from routing.plans.services.ways import plan_ways_find
from shared import clock
from shared.background.registry import background_task
from shared.errors import WalldayError


@background_task("plans.make_day_plan")
def make_day_plan(run_id: int) -> None:
    """What went wrong is on the run's row, where the page shows it."""
    try:
        plan_run_execute(run_id=run_id)
    except WalldayError:
        return


@background_task("plans.make_week_plan")
def make_week_plan(week_id: int) -> None:
    """What went wrong is on the row."""
    try:
        week_plan_execute(week_id=week_id)
    except WalldayError:
        return


@background_task("plans.take_over_week")
def take_over_week(week_id: int, actor_id: int) -> None:
    actor = get_user_model().objects.filter(pk=actor_id).first()
    try:
        week_take_over(week_id=week_id, actor=actor)
    except WalldayError:
        return


@background_task("plans.find_ways")
def find_ways(plan_id: int) -> None:
    """The ways of a plan that was stored."""
    plan_ways_find(plan_id=plan_id)


@background_task("plans.learn_drives")
def learn_drives() -> None:
    """Every night, for each yard from the days before its own today."""
    for yard in yard_list():
        drives_learn(yard=yard, until=clock.local_date(yard.timezone, clock.now()))


@background_task("plans.reap_runs")
def reap_runs() -> None:
    plan_runs_reap(now=clock.now())
    week_plans_reap(now=clock.now())
