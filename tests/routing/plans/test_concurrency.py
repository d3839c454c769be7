"""Two people at once, in two threads with connections of their own."""

import threading
from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection

from routing.plans import services
from routing.plans.models import DayPlan, Stop
from routing.plans.services import changing
from shared.errors import Stale
from shared.events.models import Event
from tests import factories

pytestmark = pytest.mark.django_db(transaction=True)


def both_at_once(first: Callable[[], object], second: Callable[[], object]) -> list[BaseException | None]:
    """How each of two calls ended: None, or its error."""
    ended: list[BaseException | None] = [None, None]

    def run(number: int, call: Callable[[], object]) -> None:
        try:
            call()
        except BaseException as error:  # noqa: BLE001  handed to the test
            ended[number] = error
        finally:
            connection.close()

    threads = [threading.Thread(target=run, args=pair) for pair in enumerate((first, second))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(30)
    return ended


def test_one_of_two_changes_wins(whole_day: dict[str, Any], monkeypatch: pytest.MonkeyPatch) -> None:
    """Both saw version 1 and both have worked out their change before either saves: one is stored, one is refused."""
    crew = factories.make_crew()
    jobs = [factories.make_job(windows=[whole_day]) for _ in range(2)]
    plan = factories.make_day_plan(yard=crew.yard, jobs=jobs)
    ready, really = threading.Barrier(2, timeout=20), changing.plan_again

    def together(*args: Any, **kwargs: Any) -> Any:
        found = really(*args, **kwargs)
        ready.wait()
        return found

    monkeypatch.setattr(changing, "plan_again", together)

    def take_out(job: Any) -> Callable[[], object]:
        return lambda: services.stop_take_out(plan_id=plan.pk, job_id=job.pk, expected_version=1)

    ended = both_at_once(take_out(jobs[0]), take_out(jobs[1]))
    assert sorted(type(error).__name__ for error in ended) == ["NoneType", "Stale"]
    winner = jobs[ended.index(None)]
    assert DayPlan.objects.get().version == 2
    assert [stop.job_id for stop in Stop.objects.all()] == [job.pk for job in jobs if job != winner]
    assert Event.objects.filter(kind="plan.stop_taken_out").count() == 1


def test_one_of_two_first_plans_wins(
    whole_day: dict[str, Any], day: Any, morning: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two people plan a new day at the same moment: there is one plan, and one of them is told."""
    from routing.plans.services import runs
    from routing.solver import RoundLimit, solve

    crew = factories.make_crew()
    factories.make_job(windows=[whole_day])
    ready = threading.Barrier(2, timeout=20)

    def together(problem: Any, **kwargs: Any) -> Any:
        ready.wait()
        return solve(problem, stop=RoundLimit(0))

    monkeypatch.setattr(runs, "solve_in_child", together)

    def make() -> object:
        return services.day_plan_make(yard=crew.yard, work_date=day, seconds=1, now=morning)

    ended = both_at_once(make, make)
    assert sorted(type(error).__name__ for error in ended) == ["NoneType", "Stale"]
    assert any(isinstance(error, Stale) for error in ended)
    assert DayPlan.objects.get().version == 1
    assert Stop.objects.count() == 1
