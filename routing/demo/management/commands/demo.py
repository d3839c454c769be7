import json
import logging
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import date
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.core.servers.basehttp import ThreadedWSGIServer

from jobs.reminders.selectors import DueItem, due_item_json, due_list
from pricing.earnings.domain.report import EarningsReport
from pricing.earnings.selectors import earnings_report
from routing.demo.domain.company import TIMEZONE, YARD_CODE, next_working_day
from routing.demo.screen import screen, sign_ins
from routing.demo.server import ADDRESS, PortInUse, serve_until_stopped, server_open
from routing.demo.services import DemoCounts, demo_company_make, open_jobs_bring_forward
from routing.plans.choices import PlanState
from routing.plans.models import MOST_SECONDS, DayPlan, Yard
from routing.plans.selectors import day_plan_get, day_problem, plan_as_json, yard_by_code
from routing.plans.services import day_plan_make
from routing.solver.warm import is_warm, start_warming
from shared import clock
from shared.company.selectors import company_get
from shared.errors import WalldayError

DEFAULT_PORT = 8000
PORT_IN_USE = 2
COMPILE_SECONDS = 900  # at most, for a machine that is very busy
NOT_COMPILED = (
    "The solver is still being compiled: this plan is made without its search and may be worth much less. "
    "Plan the day again later."
)
STOPPED = 130  # as shells report a program that Ctrl-C ended


class Command(BaseCommand):
    help = (
        "Makes the invented demo company, plans its day, prints the routes, what falls below the target and who is "
        "due, and serves the pages on this machine."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--date", type=date.fromisoformat, metavar="YYYY-MM-DD", help="plan this day")
        parser.add_argument("--no-serve", action="store_true", help="stop before serving the pages")
        parser.add_argument("--json", action="store_true", help="print one JSON object instead of the screen")
        parser.add_argument("--seconds", type=int, help=f"how long to look for better plans, 1 to {MOST_SECONDS}")
        parser.add_argument("--port", type=int, default=DEFAULT_PORT, help="where to serve; 0 takes any free port")

    def handle(self, *args: Any, **options: Any) -> None:
        if options["seconds"] is not None and not 1 <= options["seconds"] <= MOST_SECONDS:
            raise CommandError(f"--seconds must be from 1 to {MOST_SECONDS}.")
        server = None if options["no_serve"] else self._open(options["port"])
        if server is not None:  # before the company is made: its messages carry links
            settings.WALLDAY_SITE_URL = _address_of(server).rstrip("/")
        try:
            with _without_log_lines():
                self._show(options)
        except WalldayError as error:
            raise CommandError(error.message) from error
        except KeyboardInterrupt:
            self.stderr.write("\nStopped; what was not finished is not stored.")
            raise SystemExit(STOPPED) from None
        if server is not None:
            self._serve(server, as_json=options["json"])

    def _open(self, port: int) -> ThreadedWSGIServer:
        try:
            return server_open(port)
        except PortInUse as error:
            raise CommandError(str(error), returncode=PORT_IN_USE) from error

    def _show(self, options: dict[str, Any]) -> None:
        steps: dict[str, float] = {"compile": 0.0}
        compiling = None if is_warm() else start_warming()
        today = clock.local_date(TIMEZONE, clock.now())
        with self._step("Preparing the database", "migrate", steps):
            call_command("migrate", verbosity=0, interactive=False, skip_checks=True)
        with self._step("Making the company", "company", steps):
            counts = demo_company_make(today=today)
            day = options["date"] or next_working_day(today)
            open_jobs_bring_forward(day=next_working_day(today))
        if compiling is not None:
            with self._step("Compiling the solver, once on this machine", "compile", steps):
                is_compiled = _is_over(compiling)
            if not is_compiled:
                self.stderr.write(NOT_COMPILED)
        with self._step(f"Planning {day.isoformat()}", "plan", steps):
            plan = _plan(yard_by_code(code=YARD_CODE), day, options["seconds"])
        with self._step("Judging the kinds of job", "earnings", steps):
            report = earnings_report(since=None, until=today)
        with self._step("Listing who is due", "due", steps):
            due = due_list(today=today)
        as_text = (
            _as_json(counts, plan, report, due, steps) if options["json"] else _as_screen(counts, plan, report, due)
        )
        self.stdout.write(as_text)

    @contextmanager
    def _step(self, words: str, name: str, steps: dict[str, float]) -> Iterator[None]:
        """Say what is going on, on standard error, and note how long it took."""
        self.stderr.write(f"{words} ...", ending=" ")
        self.stderr.flush()
        began = time.perf_counter()
        yield
        steps[name] = round(time.perf_counter() - began, 2)
        self.stderr.write(f"{steps[name]:.1f} s")

    def _serve(self, server: ThreadedWSGIServer, *, as_json: bool) -> None:
        out = self.stderr if as_json else self.stdout
        out.write(f"\n{sign_ins(_address_of(server))}\nCtrl-C ends it.")
        out.flush()
        serve_until_stopped(server)
        out.write("\nEnded.")


@contextmanager
def _without_log_lines() -> Iterator[None]:
    """Work in the background says on standard error what it did, which would stand in the middle of our own lines."""
    before = logging.root.manager.disable
    logging.disable(logging.INFO)
    try:
        yield
    finally:
        logging.disable(before)


def _address_of(server: ThreadedWSGIServer) -> str:
    return f"http://{ADDRESS}:{server.server_port}/"


def _is_over(compiling: "subprocess.Popen[bytes]") -> bool:
    """Wait: the first plan on a machine would otherwise be made while its solver is still being compiled."""
    with suppress(subprocess.TimeoutExpired):
        compiling.wait(COMPILE_SECONDS)
    return compiling.returncode is not None


def _plan(yard: Yard, day: date, seconds: int | None) -> DayPlan:
    """The stored plan where nothing has changed or the crews have it already; a new one otherwise."""
    stored = day_plan_get(yard=yard, work_date=day)
    if stored is not None and (stored.state != PlanState.DRAFT or (seconds is None and _is_up_to_date(stored))):
        return stored
    return day_plan_make(yard=yard, work_date=day, seconds=seconds or settings.WALLDAY_PLAN_SECONDS)


def _is_up_to_date(plan: DayPlan) -> bool:
    return day_problem(yard=plan.yard, work_date=plan.work_date).digest == plan.inputs_digest


def _as_screen(counts: DemoCounts, plan: DayPlan, report: EarningsReport, due: list[DueItem]) -> str:
    company = company_get()
    return "\n" + screen(company.name, counts, plan, report, due, company.currency)


def _as_json(
    counts: DemoCounts, plan: DayPlan, report: EarningsReport, due: list[DueItem], steps: dict[str, float]
) -> str:
    return json.dumps(
        {
            "counts": counts.as_json(),
            "day_problem": plan.problem,
            "day_plan": plan_as_json(plan),
            "earnings": report.as_json(),
            "due": {
                "due": len(due),
                "properties": len({item.property_id for item in due}),
                "ready": sum(item.is_ready for item in due),
                "items": [due_item_json(item) for item in due],
            },
            "seconds": steps,
        }
    )
