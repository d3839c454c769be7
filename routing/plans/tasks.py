"""Work of this room that runs in the background."""

from routing.plans.services import plan_run_execute, plan_runs_reap
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


@background_task("plans.reap_runs")
def reap_runs() -> None:
    plan_runs_reap(now=clock.now())
