import json
from argparse import ArgumentParser
from datetime import date
from typing import Any

from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError

from routing.dispatch.domain.safety import heat_index_f
from routing.dispatch.models import DayWeather
from routing.dispatch.selectors.weather import day_weather
from routing.dispatch.services import day_weather_set
from routing.dispatch.weather_words import weather_words
from routing.plans.management.commands._words import yard_named
from routing.plans.models import Yard
from shared import clock
from shared.units import round_half_up


class Command(BaseCommand):
    help = "Writes down a day's weather at a yard, or shows it: what the crews read of heat, frost, wind and thunder."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--yard", metavar="CODE", help="the yard; may be left out where there is only one")
        parser.add_argument("--date", type=date.fromisoformat, metavar="YYYY-MM-DD", help="the day; today if left out")
        parser.add_argument("--high", type=int, metavar="F", help="highest temperature; without it nothing is changed")
        parser.add_argument("--humidity", type=int, metavar="PERCENT", help="of the hottest hour")
        parser.add_argument("--wind", type=int, metavar="MPH")
        parser.add_argument("--thunder", action="store_true", help="thunder is forecast")
        parser.add_argument("--json", action="store_true")

    def handle(self, *args: Any, **options: Any) -> None:
        yard = yard_named(options["yard"])
        day = options["date"] or clock.local_date(yard.timezone, clock.now())
        row = self._row(yard, day, options)
        if row is None:
            raise CommandError(f"No weather is written down for {day.isoformat()}. Give --high and --humidity.")
        index = round_half_up(heat_index_f(row.high_f, row.humidity_percent))
        if options["json"]:
            found = {
                "yard": yard.code,
                "work_date": day.isoformat(),
                "heat_index_f": index,
                "words": weather_words(row),
            }
            self.stdout.write(json.dumps(found))
            return
        self.stdout.write(f"{yard.code} {day.isoformat()}, heat index {index} F")
        for words in weather_words(row):
            self.stdout.write(words)

    def _row(self, yard: Yard, day: date, options: dict[str, Any]) -> DayWeather | None:
        if options["high"] is None and options["humidity"] is None:
            return day_weather(yard=yard, work_date=day)
        if options["high"] is None or options["humidity"] is None:
            raise CommandError("Give --high and --humidity together: the heat index needs both.")
        try:
            return day_weather_set(
                yard=yard,
                work_date=day,
                high_f=options["high"],
                humidity_percent=options["humidity"],
                wind_mph=options["wind"],
                has_thunder=options["thunder"],
            )
        except ValidationError as error:
            raise CommandError(" ".join(error.messages)) from error
