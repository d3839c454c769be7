import json
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from routing.roads.domain.speeds import HourClass
from routing.roads.models import PERCENTS
from routing.roads.selectors import traffic_hours, traffic_is_default, traffic_table
from routing.roads.services.traffic import traffic_hours_restore, traffic_hours_set
from shared.errors import WalldayError

ROW = ("NAME", "HH:MM", "MOTORWAY", "MAIN", "STREET", "PRIVATE")


class Command(BaseCommand):
    help = "Shows the speed that traffic leaves by hour and class of road, or puts another table in its place."

    def add_arguments(self, parser: ArgumentParser) -> None:
        change = parser.add_mutually_exclusive_group()
        change.add_argument(
            "--row",
            nargs=len(ROW),
            metavar=ROW,
            action="append",
            help="a row of the new table: name, beginning, and percent of the free speed; repeat it for each row",
        )
        change.add_argument("--restore", action="store_true", help="back to the starting values")
        parser.add_argument("--json", action="store_true")

    def handle(self, *args: Any, **options: Any) -> None:
        seen = traffic_table().version
        try:
            if options["row"]:
                traffic_hours_set(hours=[_hours(row) for row in options["row"]], seen_version=seen)
            if options["restore"]:
                traffic_hours_restore(seen_version=seen)
        except WalldayError as error:
            raise CommandError(error.message) from error
        self.stdout.write(json.dumps(_facts()) if options["json"] else "\n".join(_lines()))


def _hours(row: list[str]) -> HourClass:
    name, begins, *percents = row
    try:
        hour, minute = map(int, begins.split(":"))
        if not (0 <= hour < 24 and 0 <= minute < 60):
            raise ValueError(f"{begins} is no time of the day")
        motorway, main, street, last_mile = map(int, percents)
        return HourClass(name, hour * 60 + minute, (motorway, main, street, last_mile))
    except ValueError as error:
        raise CommandError(f"{' '.join(row)}: expected {' '.join(ROW)} ({error}). Nothing was changed.") from error


def _facts() -> dict[str, Any]:
    hours = [
        {"name": hour.name, "from_minute": hour.from_minute, **dict(zip(PERCENTS, hour.percent, strict=True))}
        for hour in traffic_hours()
    ]
    return {"is_default": traffic_is_default(), "hours": hours}


def _lines() -> list[str]:
    kind = "starting values: common practice, no source" if traffic_is_default() else "the owner's table"
    head = f"{'':20}{'from':>7}{'motorways':>11}{'main':>6}{'streets':>9}{'private':>9}"
    return [f"Percent of the free speed ({kind})", head, *map(_line, traffic_hours())]


def _line(hour: HourClass) -> str:
    motorway, main, street, last_mile = hour.percent
    begins = f"{hour.from_minute // 60:02d}:{hour.from_minute % 60:02d}"
    return f"{hour.name:20}{begins:>7}{motorway:>11}{main:>6}{street:>9}{last_mile:>9}"
