import json
from datetime import date
from decimal import Decimal, InvalidOperation
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import transaction

from pricing.catalogue.models import TaxRate
from pricing.catalogue.selectors import tax_list, tax_on
from pricing.catalogue.services import tax_set
from pricing.estimates.estimate_words import tax_words
from shared.errors import WalldayError
from shared.web.forms import MILLIONTHS_PER_PERCENT
from shared.web.present import today_here


class Command(BaseCommand):
    help = "The taxes that the owner entered; none is assumed. Enters one from today or a later day on; 0 ends it."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("what", nargs="?", choices=["list", "add"], default="list")
        parser.add_argument("name", nargs="?", help="of the tax to add")
        parser.add_argument("percent", nargs="?", help="such as 7.25; 0 ends it")
        parser.add_argument("--from", dest="day", metavar="DATE", help="first day; today where it is not given")
        parser.add_argument("--dry-run", action="store_true", help="say what it would come to, and store nothing")
        parser.add_argument("--json", action="store_true")

    def handle(self, *args: Any, **options: Any) -> None:
        if options["what"] == "list":
            self._list(options)
            return
        try:
            self._add(options)
        except WalldayError as error:
            raise CommandError(error.message) from error

    def _list(self, options: dict[str, Any]) -> None:
        taxes, today = list(tax_list()), tax_on(on=today_here())
        if options["json"]:
            data = {"today_millionths": today, "taxes": [_json(tax) for tax in taxes]}
            self.stdout.write(json.dumps(data, indent=2))
            return
        for tax in taxes:
            self.stdout.write(f"{tax.effective_from}  {tax.name}: {tax_words(tax.rate_millionths)}")
        self.stdout.write(_sum_words("today", today))

    def _add(self, options: dict[str, Any]) -> None:
        day, millionths = _day(options["day"]), _millionths(options["percent"])
        with transaction.atomic():
            tax = tax_set(
                name=options["name"] or "",
                effective_from=day,
                rate_millionths=millionths,
                today=today_here(),
                actor=None,
            )
            whole = tax_on(on=day)
            transaction.set_rollback(options["dry_run"])
        if options["json"]:
            data = {"dry_run": options["dry_run"], "tax": _json(tax), "that_day_millionths": whole}
            self.stdout.write(json.dumps(data, indent=2))
            return
        verb = "It would be" if options["dry_run"] else "It is"
        self.stdout.write(f"{verb} {tax_words(millionths)} {tax.name} from {day} on. {_sum_words(str(day), whole)}")


def _day(text: str | None) -> date:
    try:
        return date.fromisoformat(text) if text else today_here()
    except ValueError as error:
        raise CommandError("Give its first day as 2026-03-01.") from error


def _millionths(text: str | None) -> int:
    """Of a percentage with up to four places."""
    try:
        millionths = Decimal(text or "") * MILLIONTHS_PER_PERCENT
    except InvalidOperation as error:
        raise CommandError("Give the tax in percent, such as 7.25.") from error
    if not millionths.is_finite() or millionths != int(millionths) or not 0 <= millionths < 1_000_000:
        raise CommandError("A tax is from 0 to less than 100 percent, with four places at most.")
    return int(millionths)


def _json(tax: TaxRate) -> dict[str, Any]:
    return {
        "name": tax.name,
        "effective_from": tax.effective_from.isoformat(),
        "rate_millionths": tax.rate_millionths,
    }


def _sum_words(day: str, millionths: int | None) -> str:
    if millionths is None:
        return f"No tax on {day}: estimates say that none is included."
    return f"All together on {day}: {tax_words(millionths)}."
