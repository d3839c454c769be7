"""The clock of the embedded default: a thread of the web process that ticks once a minute.

The full set-up has Celery's beat for it. Two processes that tick at once do no harm: a schedule is claimed by a
conditional update, so each is started once.
"""

import logging
import threading
from collections.abc import Callable

from django.db import DatabaseError, close_old_connections

from shared import clock
from shared.background.services import due_schedules_enqueue

logger = logging.getLogger(__name__)
SECONDS = 60.0
_started = threading.Lock()


def ticking_start(*, wait: Callable[[float], object] | None = None) -> bool:
    """Tick every minute from a minute after now on, until the process ends; False where it ticks already.

    `wait` sleeps for so many seconds and answers True to end the ticking.
    """
    if not _started.acquire(blocking=False):
        return False
    pause = wait or threading.Event().wait
    threading.Thread(target=_tick_on, args=(pause,), name="wallday-clock", daemon=True).start()
    return True


def _tick_on(pause: Callable[[float], object]) -> None:
    try:
        while not pause(SECONDS):
            tick_once()
    finally:
        _started.release()


def tick_once() -> None:
    """What is due is started; a database that is busy or away is tried again a minute later."""
    close_old_connections()
    try:
        due_schedules_enqueue(now=clock.now())
    except DatabaseError:
        logger.warning("the clock could not read its schedules; it tries again in a minute", exc_info=True)
    finally:
        close_old_connections()
