import json
from argparse import ArgumentParser
from datetime import date
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from jobs.mixing.at_hand import AtHand, Need, stock_at_hand
from routing.plans.management.commands._words import yard_named
from routing.plans.models import DayPlan
from routing.plans.selectors.days import day_plan_get
from routing.plans.selectors.stock import day_stock_needs
from shared import clock
from shared.company.selectors import company_get
from shared.web.words import volume_words


class Command(BaseCommand):
    help = "What is left of each product as reckoned, and with --date whether it is enough for that day's plan."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--yard", metavar="CODE", help="the yard; may be left out where there is only one")
        parser.add_argument("--date", type=date.fromisoformat, metavar="YYYY-MM-DD", help="a planned day")
        parser.add_argument("--json", action="store_true")

    def handle(self, *args: Any, **options: Any) -> None:
        now = clock.now()
        rows = stock_at_hand(today=clock.local_date(company_get().timezone, now))
        needs = day_stock_needs(_plan(options), now=now) if options["date"] else ()
        if options["json"]:
            found = {"at_hand": [_hand_json(row) for row in rows], "needs": [_need_json(need) for need in needs]}
            self.stdout.write(json.dumps(found))
            return
        for line in [*map(_hand_words, rows), *map(_need_words, needs)] or ["No delivery is open."]:
            self.stdout.write(line)


def _plan(options: dict[str, Any]) -> DayPlan:
    yard, day = yard_named(options["yard"]), options["date"]
    plan = day_plan_get(yard=yard, work_date=day)
    if plan is None:
        raise CommandError(f"{day.isoformat()} is not planned at {yard.code}.")
    return plan


def _hand_json(row: AtHand) -> dict[str, Any]:
    return {
        "product": row.product.pk,
        "name": row.product.name,
        "delivered_ml": row.delivered_ml,
        "used_ml": row.used_ml,
        "left_ml": row.left_ml,
        "since": row.since.isoformat(),
    }


def _need_json(need: Need) -> dict[str, Any]:
    return {"product": need.at_hand.product.pk, "needed_ml": need.needed_ml, "is_short": need.is_short}


def _hand_words(row: AtHand) -> str:
    left = f"{volume_words(row.left_ml)} left as reckoned of {volume_words(row.delivered_ml)}, since {row.since}"
    return f"{row.product.name}: {left}{'. Count the jugs' * row.is_overdrawn}"


def _need_words(need: Need) -> str:
    if need.is_short:
        return f"! {need.words}"
    return f"The day needs {volume_words(need.needed_ml)} of {need.at_hand.product.name}."
