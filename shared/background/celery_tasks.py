"""The two tasks that Celery knows: run one of ours by name, and tick."""

from typing import Any

from celery import shared_task

from shared import clock
from shared.background.services import due_schedules_enqueue, run_task


@shared_task(name="wallday.run")
def run(name: str, ids: dict[str, Any]) -> None:
    run_task(name, ids)


@shared_task(name="wallday.tick")
def tick() -> None:
    due_schedules_enqueue(now=clock.now())
