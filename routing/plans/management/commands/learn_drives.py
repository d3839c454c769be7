import json
from argparse import ArgumentParser, BooleanOptionalAction
from typing import Any

from django.core.management.base import BaseCommand

from routing.plans.models import LearntDrive, LearntPacking
from routing.plans.services.learning import drives_learn, learnt_drives_use
from shared import clock

from ._words import yard_named


class Command(BaseCommand):
    help = "Learns from booked days how long drives really take, and says whether a yard's plans use it."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--yard", metavar="CODE", help="the yard; may be left out where there is only one")
        parser.add_argument("--use", action=BooleanOptionalAction, help="have new plans use it, or not; else as before")
        parser.add_argument("--json", action="store_true")

    def handle(self, *args: Any, **options: Any) -> None:
        yard = yard_named(options["yard"])
        if options["use"] is not None:
            learnt_drives_use(yard=yard, use=options["use"])
        rows = drives_learn(yard=yard, until=clock.local_date(yard.timezone, clock.now()))
        packing = LearntPacking.objects.get(yard=yard)
        if options["json"]:
            told = {"yard": yard.code, "used": yard.uses_learnt_drives, "packing": _packing_facts(packing)}
            self.stdout.write(json.dumps(told | {"hours": _facts(rows)}))
            return
        self.stdout.write(f"{yard}: {'used for plans' if yard.uses_learnt_drives else 'not used for plans'}")
        if rows:
            self.stdout.write(f"  packing up and parking: {packing.trips} drives, {_packing_words(packing)}")
        for row in rows:
            interval = "" if row.median_percent is None else f", median {row.median_percent} %"
            interval += "" if row.low_percent is None else f" (90 %: {row.low_percent} to {row.high_percent})"
            self.stdout.write(f"  {row.hours}: {row.trips} drives{interval}, factor {row.factor_percent} %")
        if not rows:
            self.stdout.write("  No drive from stop to stop was booked yet.")


def _packing_words(packing: LearntPacking) -> str:
    bounds = "" if packing.low_minutes is None else f" (90 %: {packing.low_minutes} to {packing.high_minutes})"
    return f"{packing.minutes} min from each stop{bounds}"


def _packing_facts(packing: LearntPacking) -> dict[str, Any]:
    return {name: getattr(packing, name) for name in ("trips", "minutes", "low_minutes", "high_minutes")}


def _facts(rows: list[LearntDrive]) -> list[dict[str, Any]]:
    names = ("hours", "from_minute", "trips", "factor_percent", "median_percent", "low_percent", "high_percent")
    return [{name: getattr(row, name) for name in names} for row in rows]
