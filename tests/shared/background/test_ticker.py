"""The embedded default's own clock: once a minute, one at a time, and a database that is away does not stop it."""

import logging
import threading
from typing import Any
from unittest import mock

import pytest
from django.db import OperationalError

from shared.background import ticker


def ticks(count: int) -> tuple[list[float], Any]:
    """A pause that lets `count` ticks pass and then ends them, with what it was asked to wait."""
    waited: list[float] = []

    def pause(seconds: float) -> bool:
        waited.append(seconds)
        return len(waited) > count

    return waited, pause


def run(pause: Any) -> None:
    assert ticker.ticking_start(wait=pause)
    for thread in threading.enumerate():
        if thread.name == "wallday-clock":
            thread.join(10)


def test_it_ticks_once_a_minute_and_begins_a_minute_later() -> None:
    waited, pause = ticks(3)
    with mock.patch.object(ticker, "due_schedules_enqueue") as enqueue:
        run(pause)
    assert waited == [60.0] * 4
    assert enqueue.call_count == 3


def test_a_process_has_one_clock() -> None:
    """A second start is refused while the first ticks; afterwards it may start again."""
    held = threading.Event()
    assert ticker.ticking_start(wait=lambda seconds: held.wait(10))
    assert not ticker.ticking_start(wait=lambda seconds: True)
    held.set()
    for thread in threading.enumerate():
        if thread.name == "wallday-clock":
            thread.join(10)
    run(lambda seconds: True)


def test_a_database_that_is_away_is_tried_again(caplog: pytest.LogCaptureFixture) -> None:
    waited, pause = ticks(2)
    with (
        mock.patch.object(ticker, "due_schedules_enqueue", side_effect=[OperationalError("locked"), []]) as enqueue,
        caplog.at_level(logging.WARNING),
    ):
        run(pause)
    assert enqueue.call_count == 2
    assert "tries again in a minute" in caplog.text
