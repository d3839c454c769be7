import json
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from jobs.customers.selectors import property_get, twin_list
from jobs.customers.services import OneHousePlan, one_house, one_house_plan
from shared import clock
from shared.errors import WalldayError


class Command(BaseCommand):
    help = (
        "Makes one of two entries of a customer's house: the second becomes the first. Cannot be taken back. Without "
        "numbers it lists the entries that have one address."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("keep", nargs="?", type=int, help="number of the property that stays, as in #12")
        parser.add_argument("other", nargs="?", type=int, help="number of the property that goes")
        parser.add_argument("--sure", action="store_true", help="it is one house, though the two look like two")
        parser.add_argument("--dry-run", action="store_true", help="say what would happen and change nothing")
        parser.add_argument("--json", action="store_true", help="for programs")

    def handle(self, *args: Any, **options: Any) -> None:
        if options["keep"] is None:
            self._list(options["json"])
            return
        if options["other"] is None:
            raise CommandError("Give two numbers: of the entry that stays, and of the one that goes.")
        try:
            keep, other = property_get(pk=options["keep"]), property_get(pk=options["other"])
            if options["dry_run"]:
                plan = one_house_plan(keep=keep, other=other)
            else:
                plan = one_house(keep=keep, other=other, sure=options["sure"], actor=None, now=clock.now())
        except WalldayError as error:
            raise CommandError(error.message) from error
        if options["json"]:
            self.stdout.write(json.dumps(plan.as_json(), ensure_ascii=False))
        else:
            self._say(plan, "would move" if options["dry_run"] else "moved")
        if plan.obstacles:
            raise CommandError("It cannot be done as it is.")

    def _list(self, as_json: bool) -> None:
        found = twin_list()
        if as_json:
            self.stdout.write(json.dumps([{"first": each.first.pk, "second": each.second.pk} for each in found]))
            return
        for each in found:
            one, two = each.first, each.second
            self.stdout.write(f"{one.customer.name}: #{one.pk} {one.address} and #{two.pk} {two.address}")
        self.stdout.write(f"{len(found)} houses that may be entered twice")

    def _say(self, plan: OneHousePlan, moved: str) -> None:
        for words in (*plan.obstacles, *plan.doubt_words):
            self.stdout.write(words)
        join = plan.join
        self.stdout.write(
            f"#{plan.other.pk} into #{plan.keep.pk}: {moved} {join.jobs} jobs, {join.reminders} reminders and "
            f"{len(join.walls)} walls; {len(join.same_walls)} walls with the readings of both; {plan.called_off} "
            "waiting reminders called off."
        )
