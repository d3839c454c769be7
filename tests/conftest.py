"""What every test may use: people who are signed in, a network guard, query counts of list pages."""

import json
import os
import shutil
import socket
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path
from typing import Any

import hypothesis
import pytest
from django.conf import settings
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import translation
from hypothesis import HealthCheck
from hypothesis import strategies as st

from routing.solver.warm import choose_cache_folder
from tests import factories

# One folder for compiled code, whatever data folder a test gives its processes: compiling takes half a minute.
choose_cache_folder()
QUERY_COUNTS = Path(__file__).parent / "query_counts.json"
LOOPBACK = ("127.0.0.1", "::1", "localhost")

# Hypothesis judges by the clock on the wall how long its inputs and a test take; on a busy machine that says nothing.
hypothesis.settings.register_profile("wallday", deadline=None, suppress_health_check=[HealthCheck.too_slow])
hypothesis.settings.load_profile("wallday")

USE_DATABASE = {"db", "transactional_db", "django_db_setup"}
EMPTY_TABLES_AFTER = {"transactional_db", "live_server"}
WRITE_ROWS_OF_MIGRATIONS = pytest.StashKey[Callable[[], None]]()


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--database-only", action="store_true", help="leave out the tests that ask no database")


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """A second run on another database need not repeat what asks none."""
    if config.getoption("--database-only"):
        kept = [item for item in items if _uses_database(item)]
        config.hook.pytest_deselected(items=[item for item in items if item not in set(kept)])
        items[:] = kept


def _uses_database(item: pytest.Item) -> bool:
    marked = any(item.get_closest_marker(name) for name in ("django_db", "services"))
    return marked or not USE_DATABASE.isdisjoint(getattr(item, "fixturenames", ()))


@hypothesis.settings(
    max_examples=2, derandomize=True, database=None, deadline=None, suppress_health_check=list(HealthCheck)
)
@hypothesis.given(st.lists(st.integers(), min_size=200, max_size=200))
def _draw(_numbers: list[int]) -> None:
    """One draw in twenty is a constant of our sources, so these read them all, or those loaded since."""


@pytest.hookimpl(trylast=True)
def pytest_runtest_setup(item: pytest.Item) -> None:
    """In a fresh checkout Hypothesis takes seconds to read our sources, which it would blame on a test's strategies."""
    if item.get_closest_marker("hypothesis"):
        _draw()


@pytest.fixture(scope="session")
def django_db_setup(django_db_setup: None, django_db_blocker: Any, request: pytest.FixtureRequest) -> None:
    """Remember the rows that migrations wrote, before a test empties their tables."""
    with django_db_blocker.unblock():
        rows = connection.creation.serialize_db_to_string()

    def write_again() -> None:
        with django_db_blocker.unblock():
            connection.creation.deserialize_db_from_string(rows)

    request.config.stash[WRITE_ROWS_OF_MIGRATIONS] = write_again


@pytest.hookimpl(wrapper=True)
def pytest_runtest_teardown(item: pytest.Item) -> Iterator[None]:
    """A test outside a transaction ends by emptying every table; the next one finds the rows of migrations again."""
    yield
    if _empties_tables(item):
        item.config.stash.get(WRITE_ROWS_OF_MIGRATIONS, _nothing)()


def _nothing() -> None:
    """No test has asked for the database yet."""


def _empties_tables(item: pytest.Item) -> bool:
    marker = item.get_closest_marker("django_db")
    asked = marker is not None and marker.kwargs.get("transaction", False)
    return asked or not EMPTY_TABLES_AFTER.isdisjoint(getattr(item, "fixturenames", ()))


@pytest.fixture(autouse=True)
def only_this_machine(monkeypatch: pytest.MonkeyPatch) -> None:
    """No test reaches another machine."""
    connect = socket.socket.connect

    def guarded(self: socket.socket, address: Any) -> None:
        if isinstance(address, tuple) and address[0] not in LOOPBACK:
            raise AssertionError(f"A test tried to reach {address}.")
        connect(self, address)

    monkeypatch.setattr(socket.socket, "connect", guarded)


@pytest.fixture(autouse=True)
def in_english() -> Iterator[None]:
    """A request in Spanish leaves its language behind in the thread; the next test begins in English."""
    with translation.override("en"):
        yield


@pytest.fixture
def owner(db: None) -> Any:
    return factories.make_user(username="owner", role="owner")


@pytest.fixture
def office(db: None) -> Any:
    return factories.make_user(username="office", role="office")


@pytest.fixture
def crew_lead(db: None) -> Any:
    return factories.make_user(username="lead", role="crew_lead")


@pytest.fixture
def client_of() -> Callable[[Any], Client]:
    """`client_of(user)` is a test client signed in as that user."""

    def signed_in(user: Any) -> Client:
        client = Client()
        client.force_login(user)
        return client

    return signed_in


@pytest.fixture
def assert_query_count(db: None) -> Callable[[str], AbstractContextManager[None]]:
    """`with assert_query_count("page name"):` compares with tests/query_counts.json.

    Run with WALLDAY_WRITE_QUERY_COUNTS=1 (and -n 0) to write the present counts into the file.
    """

    @contextmanager
    def counted(name: str) -> Iterator[None]:
        with CaptureQueriesContext(connection) as queries:
            yield
        counts = json.loads(QUERY_COUNTS.read_text(encoding="utf-8")) if QUERY_COUNTS.exists() else {}
        if os.environ.get("WALLDAY_WRITE_QUERY_COUNTS"):
            counts[name] = len(queries)
            QUERY_COUNTS.write_text(json.dumps(counts, indent=1, sort_keys=True) + "\n", encoding="utf-8")
        statements = "\n".join(query["sql"][:200] for query in queries)
        assert counts.get(name) == len(queries), (
            f"{name}: {len(queries)} queries, {counts.get(name)} expected.\n{statements}"
        )

    return counted


def pytest_sessionfinish(session: pytest.Session) -> None:
    shutil.rmtree(settings.DATA_DIR, ignore_errors=True)


def missing(what: str) -> None:
    """Skip with a plain reason; in CI, where everything must be there, fail instead."""
    if os.environ.get("CI") == "true":
        pytest.fail(f"{what} is missing, and CI must have it.")
    pytest.skip(f"{what} is not on this machine.")
