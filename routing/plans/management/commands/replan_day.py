from argparse import ArgumentParser, ArgumentTypeError
from datetime import date, time
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from routing.plans.choices import CrewNews
from routing.plans.models import DayPlan
from routing.plans.selectors import day_plan_get
from routing.plans.selectors.moves import moves_since_sent
from routing.plans.services import News, day_replan
from shared import clock
from shared.errors import WalldayError

from ._words import plan_lines, yard_named


class Command(BaseCommand):
    help = "A crew drops out or starts late: changes its hours and plans the rest of the day again, in about 2 seconds."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--yard", metavar="CODE", help="the yard; may be left out where there is only one")
        parser.add_argument("--date", type=date.fromisoformat, metavar="YYYY-MM-DD", help="the day; today if left out")
        parser.add_argument("--crew", required=True, metavar="CODE")
        what = parser.add_mutually_exclusive_group(required=True)
        what.add_argument("--drops-out", type=_clock, metavar="HH:MM")
        what.add_argument("--starts-late", type=_clock, metavar="HH:MM")

    def handle(self, *args: Any, **options: Any) -> None:
        yard = yard_named(options["yard"])
        day = options["date"] or clock.local_date(yard.timezone, clock.now())
        plan = day_plan_get(yard=yard, work_date=day)
        if plan is None:
            raise CommandError(f"{day} is not planned yet.")
        drops_out = options["drops_out"]
        kind = CrewNews.STARTS_LATE if drops_out is None else CrewNews.DROPS_OUT
        news = News(options["crew"], kind, options["starts_late"] if drops_out is None else drops_out)
        try:
            after = day_replan(plan_id=plan.pk, news=news, expected_version=plan.version)
        except WalldayError as error:
            raise CommandError(error.message) from error
        for line in (*_moves(after), *plan_lines(after)):
            self.stdout.write(line)


def _clock(text: str) -> time:
    try:
        return time.fromisoformat(text)
    except ValueError:
        raise ArgumentTypeError(f"{text} is not an hour such as 10:00") from None


def _moves(plan: DayPlan) -> list[str]:
    moves = moves_since_sent(plan)
    lines = [f"{'call  ' if row.must_be_called else '      '}{row.who}: {row.words}" for row in moves]
    return ["Changed since it was sent out:", *lines, ""] if lines else []
