"""History cannot be changed: not through a row, not through a query, not in SQL."""

import pytest
from django.db import DatabaseError, connection, transaction

from shared.events.append_only import AppendOnlyError
from shared.events.models import Event
from shared.events.selectors import event_list
from shared.events.services import event_record
from tests import factories


@pytest.fixture
def event(db: None) -> Event:
    return event_record(kind="job.agreed", subject=factories.make_job(), reason="They said yes", data={"n": 1})


def test_an_event_says_what_and_why(event: Event) -> None:
    """Kind, subject and reason come back as they were written."""
    assert (event.kind, event.subject_type, event.reason) == ("job.agreed", "work.job", "They said yes")
    assert list(event_list(subject=factories.make_job())) == []


def test_a_row_refuses_a_second_save(event: Event) -> None:
    """Saving a stored row again is refused in words."""
    event.reason = "otherwise"
    with pytest.raises(AppendOnlyError, match="write a new one"):
        event.save()
    with pytest.raises(AppendOnlyError):
        event.delete()


def test_a_query_refuses_changes(event: Event) -> None:
    """So are bulk changes and deletions."""
    with pytest.raises(AppendOnlyError):
        Event.objects.update(reason="otherwise")
    with pytest.raises(AppendOnlyError):
        Event.objects.all().delete()


APPEND_ONLY = [
    "events_event",
    "earnings_earningentry",
    "minutes_bookedminutes",
    "minutes_learntminutes",
    "minutes_storedforecast",
    "customers_consent",
    "walkthroughs_chalkreading",
    "work_visit",
    "work_visitline",
    "dispatch_sentplan",
    "dispatch_sentroute",
    "dispatch_sentstop",
    "dispatch_stopmark",
]


def test_the_database_refuses_an_update(event: Event) -> None:
    """The trigger holds even against SQL that goes round the models."""
    with pytest.raises(DatabaseError, match="append-only"), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("UPDATE events_event SET reason = 'otherwise'")


@pytest.mark.parametrize("table", APPEND_ONLY)
def test_every_history_has_its_trigger(db: None, table: str) -> None:
    """No history table was forgotten."""
    query = (
        "SELECT count(*) FROM sqlite_master WHERE type = 'trigger' AND name = %s"
        if connection.vendor == "sqlite"
        else "SELECT count(*) FROM pg_trigger WHERE tgname = %s"
    )
    with connection.cursor() as cursor:
        cursor.execute(query, [f"{table}_append_only"])
        assert cursor.fetchone()[0] == 1
