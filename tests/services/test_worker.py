"""A real Celery worker on real Redis and PostgreSQL: what is queued is sent exactly once, killed workers included."""

import getpass
import json
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager, suppress
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import psycopg
import pytest
import redis
from celery import Celery

from tests.conftest import missing

pytestmark = pytest.mark.services
ROOT = Path(__file__).resolve().parents[2]
POSTGRES = os.environ.get("WALLDAY_CI_POSTGRES", f"postgres://{getpass.getuser()}@127.0.0.1:5432/postgres")
REDIS = "redis://127.0.0.1:6379/13"
PATIENCE_SECONDS = 60
NUMBER = 12

# Twelve customers who agreed to texts, each with a wash that is due. It is two in the afternoon where they live, since
# their places are not on the map and the company's zone counts, and no country's holiday.
SEED = """
import django; django.setup()
from datetime import timedelta
from tests import factories as make
from shared import clock
now = clock.now()
ahead = 14 - now.hour
zone = f"Etc/GMT{-ahead:+d}" if ahead <= 14 else "UTC"
make.set_company(timezone=zone, country="ZZ")
wash = make.make_service(code="house_wash")
for _ in range(%d):
    customer = make.make_customer(email="")
    make.make_consent(customer=customer, channel="text", given=True)
    place = make.make_property(customer=customer, latitude=None, longitude=None)
    make.make_interval(property=place, service=wash, next_due_on=now.date())
"""
# Queued by the service, as the page does it: the outbox task is handed to the worker after the commit.
QUEUE = """
import django; django.setup()
from jobs.reminders.selectors import due_list
from jobs.reminders.services import reminders_queue
from shared import clock
from shared.company.selectors import company_get
now = clock.now()
items = due_list(today=clock.local_date(company_get().timezone, now))
result = reminders_queue(keys=[item.key for item in items], actor=None, now=now)
print(len(result.message_ids))
"""


class Gateway(ThreadingHTTPServer):
    """Counts what it is given by idempotency key; while `holds` is set it answers nobody."""

    daemon_threads = True

    def __init__(self) -> None:
        super().__init__(("127.0.0.1", 0), Line)
        self.keys: list[str] = []
        self.holds = threading.Event()
        self.reached = threading.Event()

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.server_port}/texts"


class Line(BaseHTTPRequestHandler):
    server: Gateway

    def do_POST(self) -> None:
        self.rfile.read(int(self.headers["Content-Length"]))
        self.server.keys.append(self.headers["Idempotency-Key"])
        self.server.reached.set()
        while self.server.holds.is_set():
            time.sleep(0.05)
        body = json.dumps({"id": f"m-{len(self.server.keys)}"}).encode()
        self.send_response(202)
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)

    def log_message(self, *args: Any) -> None:
        """Quiet."""


@pytest.fixture
def gateway() -> Iterator[Gateway]:
    server = Gateway()
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    yield server
    server.holds.clear()
    server.shutdown()
    server.server_close()
    thread.join()


@pytest.fixture(scope="module")
def database(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """A migrated database of this module's own; each test leaves it empty."""
    try:
        admin = psycopg.connect(POSTGRES, autocommit=True, connect_timeout=3)
    except psycopg.OperationalError:
        missing("PostgreSQL")
    try:
        redis.Redis.from_url(REDIS, socket_connect_timeout=3).ping()
    except redis.ConnectionError:
        missing("Redis")
    name = f"wallday_worker_{os.getpid()}"
    with admin:
        admin.execute(f'CREATE DATABASE "{name}"')
        try:
            folder = tmp_path_factory.mktemp("data")
            Company(name, folder, "http://127.0.0.1/none").python("manage.py", "migrate", "--verbosity", "0")
            yield name
        finally:
            admin.execute(f'DROP DATABASE "{name}" WITH (FORCE)')


class Company:
    """A company on its own database: its environment, its rows, its workers."""

    def __init__(self, database: str, folder: Path, gateway_url: str) -> None:
        base = POSTGRES.rpartition("/")[0]
        self.url = f"{base}/{database}"
        self.folder = folder
        clean = {name: value for name, value in os.environ.items() if not name.startswith(("WALLDAY_", "DJANGO_"))}
        self.env = clean | {
            "DJANGO_SETTINGS_MODULE": "config.settings.embedded",
            "WALLDAY_DATA": str(folder),
            "WALLDAY_DATABASE_URL": self.url,
            "WALLDAY_REDIS_URL": REDIS,
            "WALLDAY_BACKGROUND": "celery",
            "WALLDAY_TEXT": "gateway",
            "WALLDAY_TEXT_URL": gateway_url,
            "WALLDAY_SITE_URL": "https://wash.example.com",
        }

    def python(self, *arguments: str) -> str:
        done = subprocess.run(
            [sys.executable, *arguments], env=self.env, cwd=ROOT, capture_output=True, text=True, timeout=120
        )
        assert done.returncode == 0, done.stderr
        return done.stdout

    def states(self) -> dict[str, int]:
        with psycopg.connect(self.url) as connection:
            return dict(connection.execute("SELECT state, count(*) FROM outbox_message GROUP BY state").fetchall())

    def send_task(self, name: str, *arguments: Any) -> None:
        with Celery("tests", broker=REDIS) as app:
            app.send_task(name, args=list(arguments))

    @contextmanager
    def worker(self, number: int = 1, *, stop: signal.Signals = signal.SIGTERM) -> Iterator[Path]:
        """A worker with two processes; ended, or killed with all its processes, at the end of the block."""
        log = self.folder / f"worker-{number}.log"
        name = f"worker-{number}-{os.getpid()}@127.0.0.1"
        command = [sys.executable, "-m", "celery", "-A", "config.celery", "worker", "--concurrency", "2"]
        command += ["--loglevel", "INFO", "--hostname", name, "--without-gossip", "--without-mingle"]
        with log.open("w") as out:
            process = subprocess.Popen(
                command, env=self.env, cwd=ROOT, stdout=out, stderr=subprocess.STDOUT, start_new_session=True
            )
            try:
                wait_for(lambda: " ready." in log.read_text(), "the worker to be ready", log)
                yield log
            finally:
                end(process, stop)


def end(process: subprocess.Popen[bytes], stop: signal.Signals) -> None:
    """Ask a worker to end as a service manager does: one that still runs after a while is killed with its children.

    Either way of ending must lose nothing, which is what the tests look at afterwards.
    """
    if stop != signal.SIGKILL:
        process.send_signal(stop)
        with suppress(subprocess.TimeoutExpired):
            process.wait(PATIENCE_SECONDS)
            return
    os.killpg(process.pid, signal.SIGKILL)
    process.wait(PATIENCE_SECONDS)


def wait_for(come_true: Callable[[], bool], what: str, log: Path) -> None:
    deadline = time.monotonic() + PATIENCE_SECONDS
    while not come_true():
        if time.monotonic() > deadline:
            pytest.fail(f"Waited too long for {what}.\n{log.read_text()[-3000:]}")
        time.sleep(0.1)


@pytest.fixture
def company(database: str, tmp_path: Path, gateway: Gateway) -> Iterator[Company]:
    """A fresh database with twelve due customers, and an empty broker."""
    broker = redis.Redis.from_url(REDIS)
    broker.flushdb()
    made = Company(database, tmp_path, gateway.url)
    made.python("-c", SEED % NUMBER)
    yield made
    broker.flushdb()
    made.python("manage.py", "flush", "--no-input", "--verbosity", "0")


def test_a_queued_reminder_is_sent_exactly_once(company: Company, gateway: Gateway) -> None:
    """Two offices queue twelve texts at once, two processes send, called six times: the gateway sees each text once.

    The worker also knows the other rooms' tasks by name, and a tick claims what is due.
    """
    with company.worker() as log:
        with ThreadPoolExecutor(2) as offices:
            queued = offices.map(lambda _: int(company.python("-c", QUEUE)), range(2))
        assert sum(queued) == NUMBER
        for _ in range(5):
            company.send_task("wallday.run", "outbox.dispatch", {})
        wait_for(lambda: company.states() == {"sent": NUMBER}, "all texts to be sent", log)
        assert (len(gateway.keys), len(set(gateway.keys))) == (NUMBER, NUMBER)
        assert company.python("-c", QUEUE).strip() == "0"
        company.send_task("wallday.run", "plans.make_day_plan", {"run_id": 0})
        wait_for(lambda: "background task plans.make_day_plan {'run_id': 0}" in log.read_text(), "the plan task", log)
        company.send_task("wallday.tick")
        wait_for(lambda: "Task wallday.tick" in log.read_text().partition("succeeded")[2], "the tick", log)
        assert "KeyError" not in log.read_text()
    assert company.states() == {"sent": NUMBER}
    assert len(gateway.keys) == NUMBER


def test_a_killed_worker_loses_nothing_and_sends_nothing_twice(company: Company, gateway: Gateway) -> None:
    """SIGKILL while the gateway holds a text: the next worker sends the others; that one is shown as unknown."""
    gateway.holds.set()
    with company.worker(1, stop=signal.SIGKILL) as log:
        company.python("-c", QUEUE)
        wait_for(gateway.reached.is_set, "the gateway to be reached", log)
    held = len(gateway.keys)
    gateway.holds.clear()
    with company.worker(2) as log:
        company.send_task("wallday.run", "outbox.dispatch", {})
        wait_for(lambda: company.states().get("sent", 0) == NUMBER - held, "the others to be sent", log)
        company.send_task("wallday.run", "outbox.dispatch", {})
        time.sleep(1)
    assert company.states() == {"sent": NUMBER - held, "sending": held}
    assert (len(gateway.keys), len(set(gateway.keys))) == (NUMBER, NUMBER)
