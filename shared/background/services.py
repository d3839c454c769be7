"""One way to start work after the present transaction: `enqueue`. How it runs is a setting.

`thread`  in this process, one task after the other, on a thread of its own (the embedded default)
`inline`  at once, in the caller's thread (tests and commands)
`celery`  by a worker process, over Redis
"""

import logging
from concurrent.futures import Future, ThreadPoolExecutor
from datetime import datetime, timedelta
from functools import partial
from typing import Any

from django.conf import settings
from django.db import close_old_connections, transaction
from django.utils.translation import gettext as _

from shared.background.errors import WorkerUnreachable
from shared.background.models import Schedule
from shared.background.registry import task_named

logger = logging.getLogger(__name__)
# A tick that comes a moment less than a minute after the last one must not skip what is done every minute.
TICK_EARLY = timedelta(seconds=5)
_thread = ThreadPoolExecutor(max_workers=1, thread_name_prefix="wallday-background")


def enqueue(name: str, **ids: int | str) -> None:
    """Run the background task `name` once the present transaction is committed (at once where there is none).

    `ids` are ids and other small plain values. A task may run twice after a crash, so it must look before it acts.
    Raises KeyError for an unknown name, in the caller, before anything is stored; WorkerUnreachable after the commit
    where Celery's broker does not answer.
    """
    task_named(name)
    transaction.on_commit(partial(_BACKENDS[settings.WALLDAY_BACKGROUND], name, ids))


def run_task(name: str, ids: dict[str, Any]) -> None:
    """Run a task in the present process and log how it went; the error goes on to the caller."""
    try:
        task_named(name)(**ids)
    except Exception:
        logger.exception("background task %s %s failed", name, ids)
        raise
    logger.info("background task %s %s done", name, ids)


def _run_inline(name: str, ids: dict[str, Any]) -> None:
    run_task(name, ids)


def _run_in_thread(name: str, ids: dict[str, Any]) -> None:
    def work() -> None:
        close_old_connections()
        try:
            run_task(name, ids)
        finally:
            close_old_connections()

    _thread.submit(work).add_done_callback(_swallow)


def _swallow(done: "Future[None]") -> None:
    """The error is in the log already; taking it here keeps the thread quiet."""
    done.exception()


def _run_by_worker(name: str, ids: dict[str, Any]) -> None:
    """By the application itself: the current one of a thread may be Celery's own default, with another broker."""
    from kombu.exceptions import OperationalError

    from config.celery import app  # Celery is loaded only where it is used

    try:
        app.send_task("wallday.run", args=[name, ids])
    except OperationalError as error:
        logger.error("background task %s %s could not be handed over: %s", name, ids, error)
        raise WorkerUnreachable(_("It is stored, but background work does not start just now.")) from error


_BACKENDS = {"inline": _run_inline, "thread": _run_in_thread, "celery": _run_by_worker}


def schedule_ensure(*, task: str, every_minutes: int, now: datetime) -> Schedule:
    """Make the row for work that the clock starts, unless it is there; its owner's changes are kept."""
    schedule, _ = Schedule.objects.get_or_create(
        task=task, defaults={"every_minutes": every_minutes, "next_due_at": now}
    )
    return schedule


def due_schedules_enqueue(*, now: datetime) -> list[str]:
    """Claim every schedule that is due and enqueue its task. Two ticks at once claim each row once.

    Due is also what will be in TICK_EARLY. A schedule whose task cannot be started is put back and keeps nobody else
    waiting.
    """
    return [
        schedule.task
        for schedule in Schedule.objects.filter(is_on=True, next_due_at__lte=now + TICK_EARLY)
        if _claim(schedule, now) and _start(schedule, now)
    ]


def _claim(schedule: Schedule, now: datetime) -> bool:
    unclaimed = Schedule.objects.filter(pk=schedule.pk, next_due_at=schedule.next_due_at)
    next_due_at = now + timedelta(minutes=schedule.every_minutes)
    return bool(unclaimed.update(next_due_at=next_due_at, last_started_at=now))


def _start(schedule: Schedule, now: datetime) -> bool:
    try:
        enqueue(schedule.task)
    except KeyError:
        logger.error("schedule %s names a task that no room knows", schedule.task)
    except WorkerUnreachable:
        mine = Schedule.objects.filter(pk=schedule.pk, last_started_at=now)
        mine.update(next_due_at=schedule.next_due_at, last_started_at=schedule.last_started_at)
    else:
        return True
    return False
