import csv
import json
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from jobs.customers.models import Property
from jobs.customers.selectors import property_get
from jobs.walkthroughs.selectors.places import place_facts
from pricing.catalogue.models import Service
from pricing.catalogue.selectors import tax_on
from pricing.estimates.calculation import Calculation
from pricing.estimates.inputs import WantedLine
from pricing.estimates.selectors import estimate_list, option_views
from pricing.estimates.views.gathering import reckon, suggested
from pricing.minutes.choices import AccessLevel, SoilLevel
from shared.company.selectors import company_get
from shared.errors import WalldayError
from shared.money import format_cents
from shared.web.present import today_here
from shared.web.words import hours_words, percent_words

COLUMNS = (
    "estimate", "job", "property", "state", "revision", "made", "valid_until", "option", "chosen", "before_tax_cents",
    "tax_cents", "total_cents", "minutes", "drive_minutes", "target_price_cents", "least_price_cents",
    "earned_cents_per_crew_hour", "chance",
)  # fmt: skip


class Command(BaseCommand):
    help = "Reckon an estimate for a property and print how it comes about (nothing is stored), or export all as CSV."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("property", type=int, nargs="?", help="number of the property")
        parser.add_argument(
            "services",
            nargs="*",
            metavar="CODE[=QUANTITY]",
            help="services; +CODE is offered separately; none: what is usually offered there",
        )
        parser.add_argument("--tax-percent", type=float, help="tax rate; default: what was entered for today")
        parser.add_argument("--access", choices=AccessLevel.values, default="", help="default: as said of the last job")
        parser.add_argument("--soil", choices=SoilLevel.values, default="", help="default: the same way")
        parser.add_argument("--json", action="store_true", help="one JSON object instead of the text")
        parser.add_argument("--export", action="store_true", help="every option of every estimate as CSV")

    def handle(self, *args: Any, **options: Any) -> None:
        if options["export"]:
            self._export()
            return
        if options["property"] is None:
            raise CommandError("Name the property, or --export.")
        tax = options["tax_percent"]
        if tax is not None and not 0 <= tax < 100:
            raise CommandError("A tax rate is from 0 to less than 100 percent.")
        try:
            place = property_get(pk=options["property"])
            found = reckon(
                place,
                _wanted(place, options["services"]),
                tax_millionths=tax_on(on=today_here()) if tax is None else round(tax * 10_000),
                access=options["access"],
                soil=options["soil"],
            )
        except WalldayError as error:
            raise CommandError(error.message) from error
        self.stdout.write(json.dumps(found.as_json(), indent=2) if options["json"] else _as_text(found))

    def _export(self) -> None:
        writer = csv.writer(self.stdout)
        writer.writerow(COLUMNS)
        for row in estimate_list().iterator(chunk_size=500):
            chosen = getattr(getattr(row, "answer", None), "option_position", None)
            for view in option_views(row):
                totals, outlook, at = view.totals, view.outlook, view.option.position
                writer.writerow(
                    (row.pk, row.job_ref, row.property_ref, row.state, row.revision, row.made_at.isoformat(),
                     row.valid_until, at, int(at == chosen), totals.before_tax_cents, totals.tax_cents,
                     totals.total_cents, outlook.minutes, outlook.drive_minutes, outlook.target_price_cents,
                     outlook.least_price_cents, outlook.earned_cents_per_crew_hour, round(outlook.chance, 3))
                )  # fmt: skip


def _wanted(place: Property, codes: list[str]) -> list[WantedLine]:
    if not codes:
        return suggested(place, place_facts(place=place), None)
    return [_line(code) for code in codes]


def _line(text: str) -> WantedLine:
    code, _equals, quantity = text.removeprefix("+").partition("=")
    service = Service.objects.filter(code=code, is_offered=True).first()
    if service is None:
        raise CommandError(f"No service is called {code}.")
    if quantity and not (quantity.isdecimal() and 0 < int(quantity) <= 1_000_000):
        raise CommandError(f"{quantity} is no quantity.")
    return WantedLine(service, int(quantity) if quantity else None, separately=text.startswith("+"))


def _as_text(found: Calculation) -> str:
    currency = company_get().currency

    def money(cents: int | None) -> str:
        return "-" if cents is None else format_cents(cents, currency)

    lines = [
        f"{found.place.address}, {found.on}",
        f"{AccessLevel(found.place.access).label}, {SoilLevel(found.place.soil).label}",
        f"Target {money(found.target.target_cents_per_crew_hour)}, "
        f"reserve {money(found.target.reserve_cents_per_crew_hour)} per crew-hour",
        f"Share of driving {hours_words(found.drive.minutes)} ({found.drive.basis}, {found.drive.days} days)",
    ]
    for number, line in enumerate(found.lines, start=1):
        expected, price = line.expected, line.price
        lines += [
            "",
            f"Line {number}: {line.wanted.service.name}, {line.quantity:,}{', in addition' * line.is_addition}",
            f"  {hours_words(expected.minutes)} expected; 80 % within {hours_words(expected.q80_minutes)}, "
            f"90 % within {hours_words(expected.q90_minutes)}",
            *(f"  {words}" for words in (*expected.why, *line.card_why)),
            f"  card {money(line.card_price_cents)}, at the target {money(price.target_price_cents)}, "
            f"least {money(price.least_price_cents)}: {money(price.price_cents)} (by {price.why})",
        ]
    for number, option in enumerate(found.options, start=1):
        totals, outlook = option.totals, option.outlook
        lines += [
            "",
            f"Option {number}: lines {', '.join(str(k + 1) for k in option.lines)}",
            f"  {money(totals.before_tax_cents)} before tax, tax {money(totals.tax_cents)}"
            f"{' (no rate was entered)' * (found.tax_millionths is None)}, total {money(totals.total_cents)}",
            f"  reaches the target at {money(outlook.target_price_cents)}, least {money(outlook.least_price_cents)}, "
            f"earns {money(outlook.earned_cents_per_crew_hour)} an hour, chance {percent_words(outlook.chance)}",
        ]
    return "\n".join(lines)
