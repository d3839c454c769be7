from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from jobs.customers.selectors import properties_to_look_up
from jobs.customers.services import places_find
from shared.errors import WalldayError


class Command(BaseCommand):
    help = "Asks the address register where properties without a place are. Repeating it asks only what is open."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--limit", type=int, default=1000, help="at most so many addresses (default 1000)")
        parser.add_argument("--dry-run", action="store_true", help="list the addresses and ask nothing")

    def handle(self, *args: Any, **options: Any) -> None:
        if options["limit"] < 1:
            raise CommandError("--limit must be at least 1.")
        if options["dry_run"]:
            for place in properties_to_look_up()[: options["limit"]]:
                self.stdout.write(f"{place.pk}: {place.address}")
            return
        try:
            result = places_find(limit=options["limit"])
        except WalldayError as error:
            raise CommandError(error.message) from error
        self.stdout.write(
            f"{result.found} found, {result.unsure} to choose by hand, {result.nothing} not known to the register"
            + (", stopped: the register could not be asked." if result.failed else ".")
        )
        if result.failed:
            raise CommandError("The address register could not be asked; the rest is open.")
