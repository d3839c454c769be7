import json
import time
from dataclasses import asdict
from typing import Any

from django.core.management.base import BaseCommand, CommandParser

from jobs.chalking.learnt import chalk_learnt
from jobs.chalking.selectors import chalk_setting_get
from jobs.chalking.services import forecasts_update
from shared import clock


class Command(BaseCommand):
    help = (
        "Fits how chalk grows and forecasts when each wall passes the limit. Safe to repeat; the clock does it nightly."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--property", type=int, action="append", help="only this property, with the stored fit")
        parser.add_argument("--learnt", action="store_true", help="only show what the readings taught by the last fit")
        parser.add_argument("--json", action="store_true", help="one JSON object instead of lines")

    def handle(self, *args: Any, **options: Any) -> None:
        if options["learnt"]:
            self._show_learnt(as_json=options["json"])
            return
        began = time.perf_counter()
        counts = forecasts_update(now=clock.now(), property_ids=options["property"])
        seconds = round(time.perf_counter() - began, 1)
        limit = chalk_setting_get().limit
        if options["json"]:
            self.stdout.write(json.dumps(counts.as_json() | {"limit": limit, "seconds": seconds}))
            return
        fitted = "fitted anew" if counts.is_refitted else "as it was fitted before"
        self.stdout.write(
            f"{counts.forecast} of {counts.walls} walls that were read have a day for passing {limit:g}, "
            f"{counts.refused} have too little data. Of {counts.unread} walls that nobody read, "
            f"{counts.unread_forecast} have an interval from the walls like them. Model {fitted}, {seconds} s."
        )

    def _show_learnt(self, *, as_json: bool) -> None:
        _model, lines = chalk_learnt()
        if as_json:
            self.stdout.write(json.dumps([asdict(line) for line in lines]))
            return
        for line in lines:
            self.stdout.write(f"{line.words}: {line.now}; before any reading {line.before}")
        if not lines:
            self.stdout.write("Nothing is learnt yet.")
