"""Work after the transaction, in each of the three ways, and what the clock starts."""

import threading
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from importlib import import_module
from io import StringIO
from typing import Any
from unittest import mock

import pytest
from django.apps import apps
from django.core.management import call_command
from django.db import transaction
from kombu.exceptions import OperationalError

from shared.background import registry
from shared.background.errors import WorkerUnreachable
from shared.background.models import Schedule
from shared.background.registry import background_task, task_named, task_names
from shared.background.services import due_schedules_enqueue, enqueue, run_task, schedule_ensure
from shared.outbox.services import dispatch_soon

NOON = datetime(2026, 6, 1, 16, tzinfo=UTC)


@pytest.fixture
def calls() -> Iterator[list[tuple[Any, str]]]:
    """What the task `tests.note` was called with, and on which thread."""
    done: list[tuple[Any, str]] = []
    with mock.patch.dict(registry._tasks):

        @background_task("tests.note")
        def note(**ids: Any) -> None:
            done.append((ids, threading.current_thread().name))
            if ids.get("fail"):
                raise ValueError("no luck")

        yield done


def test_an_unknown_name_fails_in_the_caller() -> None:
    """Before anything is stored."""
    with pytest.raises(KeyError):
        enqueue("tests.nobody_knows", row_id=1)


def test_a_name_is_given_once(calls: list[Any]) -> None:
    """Two different tasks of one name are a mistake; registering the same one again is none."""
    task = task_named("tests.note")
    assert background_task("tests.note")(task) is task
    with pytest.raises(ValueError, match="tests.note"):
        background_task("tests.note")(lambda: None)


def test_every_rooms_tasks_are_known() -> None:
    """The rooms' tasks.py are loaded when Django starts, so that a worker knows them all."""
    assert {"outbox.dispatch", "plans.make_day_plan"} <= set(task_names())


@pytest.mark.django_db
def test_work_waits_for_the_commit(calls: list[Any], django_capture_on_commit_callbacks: Any) -> None:
    """Nothing starts inside the transaction; a transaction taken back starts nothing at all."""
    with django_capture_on_commit_callbacks(execute=True):
        enqueue("tests.note", row_id=7)
        assert calls == []
    assert [ids for ids, _ in calls] == [{"row_id": 7}]
    with django_capture_on_commit_callbacks(execute=True), transaction.atomic():
        enqueue("tests.note", row_id=8)
        transaction.set_rollback(True)
    assert len(calls) == 1


@pytest.mark.django_db(transaction=True)
def test_in_process_work_runs_in_order_on_its_own_thread(calls: list[Any], settings: Any) -> None:
    """One after the other; an error is logged and stops nothing that follows."""
    settings.WALLDAY_BACKGROUND = "thread"
    done = threading.Event()
    with mock.patch.dict(registry._tasks):
        background_task("tests.last")(done.set)
        enqueue("tests.note", row_id=1)
        enqueue("tests.note", row_id=2, fail=1)
        enqueue("tests.note", row_id=3)
        enqueue("tests.last")
        assert done.wait(10)
    assert [ids["row_id"] for ids, _ in calls] == [1, 2, 3]
    assert {name for _, name in calls} == {"wallday-background_0"}


def test_an_error_reaches_the_caller_of_run_task(calls: list[Any], caplog: Any) -> None:
    """A worker must know that its task failed; the log names task and ids."""
    with pytest.raises(ValueError, match="no luck"):
        run_task("tests.note", {"fail": 1})
    assert "background task tests.note {'fail': 1} failed" in caplog.text


@pytest.mark.django_db
def test_a_worker_is_sent_name_and_ids(
    calls: list[Any], settings: Any, django_capture_on_commit_callbacks: Any
) -> None:
    """By our own Celery application, whatever Celery's current one is in this thread."""
    from config.celery import app

    settings.WALLDAY_BACKGROUND = "celery"
    with mock.patch.object(app, "send_task") as send, django_capture_on_commit_callbacks(execute=True):
        enqueue("tests.note", row_id=7)
    send.assert_called_once_with("wallday.run", args=["tests.note", {"row_id": 7}])


@pytest.mark.django_db(transaction=True)
def test_a_broker_that_is_down_is_said_after_the_commit(calls: list[Any], settings: Any) -> None:
    """The caller hears that the work does not start; messages just wait for the next tick."""
    from config.celery import app

    settings.WALLDAY_BACKGROUND = "celery"
    with mock.patch.object(app, "send_task", side_effect=OperationalError("down")) as send:
        with pytest.raises(WorkerUnreachable), transaction.atomic():
            enqueue("tests.note", row_id=7)
        with transaction.atomic():
            dispatch_soon()
    assert send.call_count == 2


# --- schedules ---


@pytest.fixture
def schedule(db: None, calls: list[Any]) -> Schedule:
    Schedule.objects.all().delete()
    return schedule_ensure(task="tests.note", every_minutes=5, now=NOON)


def started(now: datetime) -> list[str]:
    return due_schedules_enqueue(now=now)


def test_a_due_schedule_starts_once(schedule: Schedule) -> None:
    """And again only after its minutes."""
    assert started(NOON - timedelta(seconds=6)) == []
    assert started(NOON) == ["tests.note"]
    assert started(NOON + timedelta(minutes=5, seconds=-6)) == []
    assert started(NOON + timedelta(minutes=5)) == ["tests.note"]


def test_a_tick_that_comes_a_moment_early_skips_nothing(schedule: Schedule) -> None:
    """Ticks are a minute apart, a second more or less: what is done every minute is done at each."""
    Schedule.objects.update(every_minutes=1)
    ticks = [NOON + timedelta(minutes=minute, seconds=(-1) ** minute) for minute in range(1, 7)]
    assert [started(now) for now in ticks] == [["tests.note"]] * 6


def test_a_long_sleep_is_made_up_for_once(schedule: Schedule) -> None:
    """A machine that was off for a day starts the work once, not 288 times."""
    late = NOON + timedelta(days=1)
    assert started(late) == ["tests.note"]
    assert started(late) == []


def test_two_ticks_at_once_claim_a_row_once(schedule: Schedule) -> None:
    """Both read the row as due; the slower one changes nothing."""
    with mock.patch("shared.background.services.Schedule.objects.filter", wraps=Schedule.objects.filter) as look:
        seen = list(Schedule.objects.filter(is_on=True, next_due_at__lte=NOON))
        assert started(NOON) == ["tests.note"]
        look.side_effect = lambda **wanted: seen if "is_on" in wanted else mock.DEFAULT
        assert started(NOON) == []


def test_a_schedule_can_be_switched_off(schedule: Schedule) -> None:
    """By its owner, and `schedule_ensure` keeps that."""
    Schedule.objects.update(is_on=False, every_minutes=60)
    assert started(NOON) == []
    kept = schedule_ensure(task="tests.note", every_minutes=5, now=NOON)
    assert (kept.is_on, kept.every_minutes) == (False, 60)


def test_one_that_cannot_start_keeps_nobody_waiting(schedule: Schedule) -> None:
    """A task that was renamed is logged; the others start."""
    schedule_ensure(task="a.renamed_one", every_minutes=5, now=NOON)
    assert started(NOON) == ["tests.note"]


def test_a_schedule_is_put_back_where_no_worker_answers(
    schedule: Schedule, settings: Any, django_capture_on_commit_callbacks: Any
) -> None:
    """Due still, so that the next tick tries again."""
    with mock.patch("shared.background.services.enqueue", side_effect=WorkerUnreachable("down")):
        assert started(NOON) == []
    schedule.refresh_from_db()
    assert (schedule.next_due_at, schedule.last_started_at) == (NOON, None)
    assert started(NOON) == ["tests.note"]


def test_the_outbox_is_on_the_clock(db: None) -> None:
    """Its row comes with the tables: every minute, and the command says what it started."""
    Schedule.objects.all().delete()
    import_module("shared.outbox.migrations.0002_schedule").add(apps, None)
    row = Schedule.objects.get()
    assert (row.task, row.every_minutes, row.is_on) == ("outbox.dispatch", 1, True)
    out = StringIO()
    call_command("tick", stdout=out)
    call_command("tick", stdout=out)
    assert out.getvalue() == "outbox.dispatch\nNothing is due.\n"
