import json
from argparse import ArgumentParser
from dataclasses import asdict
from datetime import date
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from routing.dispatch.pdf import mix_sheet_pdf
from routing.dispatch.selectors.sheets import sheet_of_route
from routing.dispatch.sheet import Sheet
from routing.plans.management.commands._words import yard_named
from routing.plans.models import Route
from shared import clock


class Command(BaseCommand):
    help = "What a crew mixes on a planned day: stock and water for each stop, and what its truck takes along."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("crew", help="code of the crew")
        parser.add_argument("--yard", metavar="CODE", help="the yard; may be left out where there is only one")
        parser.add_argument("--date", type=date.fromisoformat, metavar="YYYY-MM-DD", help="the day; today if left out")
        parser.add_argument("--pdf", type=Path, metavar="FILE", help="print it into this file")
        parser.add_argument("--json", action="store_true")

    def handle(self, *args: Any, **options: Any) -> None:
        sheet = sheet_of_route(route_id=self._route(options).pk)
        if options["pdf"]:
            options["pdf"].write_bytes(mix_sheet_pdf(sheet))
        if options["json"]:
            self.stdout.write(json.dumps(_facts(sheet)))
        elif not options["pdf"]:
            for words in _lines(sheet):
                self.stdout.write(words)

    def _route(self, options: dict[str, Any]) -> Route:
        yard = yard_named(options["yard"])
        day = options["date"] or clock.local_date(yard.timezone, clock.now())
        route = Route.objects.filter(plan__yard=yard, plan__work_date=day, crew__code=options["crew"]).first()
        if route is None:
            raise CommandError(f"No route of crew {options['crew']} is planned for {day.isoformat()}.")
        return route


def _facts(sheet: Sheet) -> dict[str, Any]:
    stops = [
        {
            "job": stop.job_id,
            "address": stop.address,
            "mixes": [asdict(mix) for line in stop.lines for mix in line.mixes],
        }
        for stop in sheet.stops
    ]
    return {"crew": sheet.crew_code, "truck": sheet.truck, "totals": sheet.mix_totals, "stops": stops}


def _lines(sheet: Sheet) -> list[str]:
    rows = [f"{sheet.crew}, {sheet.work_date.isoformat()}, {sheet.version}", sheet.first_words, *sheet.weather]
    rows += [f"  {words}" for words in sheet.mix_totals]
    for stop in sheet.stops:
        rows.append(f"{stop.number}. {stop.address}")
        for mix in (mix for line in stop.lines for mix in line.mixes):
            rows.append(f"  {mix.head}")
            rows += [f"    ! {words}" for words in mix.warnings]
            rows += [f"    {pour.where}: {pour.stock} stock, {pour.water or 'no'} water" for pour in mix.pours]
    return [*rows, *sheet.limits, *sheet.mix_cautions]
