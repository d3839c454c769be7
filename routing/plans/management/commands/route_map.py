import json
from argparse import ArgumentParser
from datetime import date
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from routing.plans.models import DayPlan
from routing.plans.selectors import day_plan_get
from routing.plans.selectors.ways import route_ways, routes_geojson
from routing.roads.words import step_words
from shared import clock

from ._words import yard_named


class Command(BaseCommand):
    help = "Writes a day's routes along the streets as GeoJSON, or the turns of each drive in words."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--yard", metavar="CODE", help="the yard; may be left out where there is only one")
        parser.add_argument("--date", type=date.fromisoformat, metavar="YYYY-MM-DD", help="the day; today if left out")
        parser.add_argument("--out", type=Path, metavar="FILE", help="where to write; the screen if left out")
        parser.add_argument("--turns", action="store_true", help="streets and turns instead of GeoJSON")

    def handle(self, *args: Any, **options: Any) -> None:
        yard = yard_named(options["yard"])
        day = options["date"] or clock.local_date(yard.timezone, clock.now())
        plan = day_plan_get(yard=yard, work_date=day)
        if plan is None:
            raise CommandError(f"{yard} {day.isoformat()} is not planned yet; plan it with plan_day.")
        text = "\n".join(_turn_lines(plan)) if options["turns"] else json.dumps(routes_geojson(plan))
        if options["out"] is None:
            self.stdout.write(text)
            return
        try:
            options["out"].write_text(text + "\n", encoding="utf-8")
        except OSError as error:
            raise CommandError(f"{options['out']} cannot be written: {error.strerror}.") from error


def _turn_lines(plan: DayPlan) -> list[str]:
    lines: list[str] = []
    for route in plan.routes.all():
        places = [stop.job.property for stop in route.stops.all()]
        lines.append(str(route.crew))
        for name, way in zip([*(place.street for place in places), "yard"], route_ways(plan, places), strict=False):
            lines += [f"  to {name}", *(f"    {step_words(step)}" for step in way.steps)]
    return lines
