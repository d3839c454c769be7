import json
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from jobs.customers.selectors import customer_get
from jobs.customers.services import MergePlan, customer_merge, merge_plan
from shared import clock
from shared.errors import WalldayError


class Command(BaseCommand):
    help = "Makes one of two entries of a customer: the second becomes the first. Cannot be taken back."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("keep", type=int, help="number of the entry that stays, as in #12")
        parser.add_argument("other", type=int, help="number of the entry that goes")
        parser.add_argument("--dry-run", action="store_true", help="say what would happen and change nothing")
        parser.add_argument("--json", action="store_true", help="for programs")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            keep, other = customer_get(pk=options["keep"]), customer_get(pk=options["other"])
            plan = merge_plan(keep=keep, other=other)
            if not options["dry_run"]:
                plan = customer_merge(keep=keep, other=other, actor=None, now=clock.now())
        except WalldayError as error:
            raise CommandError(error.message) from error
        if options["json"]:
            self.stdout.write(json.dumps(plan.as_json(), ensure_ascii=False))
        else:
            self._say(plan, "would move" if options["dry_run"] else "moved")
        if plan.obstacles:
            raise CommandError("It cannot be done as it is.")

    def _say(self, plan: MergePlan, moved: str) -> None:
        for words in plan.obstacles:
            self.stdout.write(words)
        self.stdout.write(
            f"#{plan.other.pk} into #{plan.keep.pk}: {moved} {len(plan.moved)} properties with {plan.jobs} jobs and "
            f"{plan.reminders} reminders; {plan.called_off} waiting reminders called off."
        )
        for join in plan.joined:
            self.stdout.write(
                f"Both have {join.into.address}: one house with {join.jobs} more jobs, {len(join.walls)} more walls, "
                f"{len(join.same_walls)} walls with the readings of both."
            )
        for each in plan.opt_outs:
            self.stdout.write(f"Opted out: {each.words}")
