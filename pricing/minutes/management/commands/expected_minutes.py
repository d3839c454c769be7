import json
from datetime import date
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from jobs.work.minutes import property_forecast
from pricing.minutes.choices import AccessLevel, SoilLevel
from pricing.minutes.domain.forecast import MinutesForecast
from pricing.minutes.wording import forecast_words
from shared import clock
from shared.company.selectors import company_get
from shared.errors import WalldayError
from shared.web.words import hours_words

ASKED = ("property_id", "service_code", "quantity", "crew_code", "access", "soil")


class Command(BaseCommand):
    help = "How long a service at a property will take a crew of two, with the reasons. Stores nothing."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("property_id", type=int, metavar="PROPERTY")
        parser.add_argument("service_code", metavar="SERVICE", help="its code")
        parser.add_argument("--quantity", type=int, help="in the unit of the service; default: of all walls")
        parser.add_argument("--crew", dest="crew_code", default="", help="its code; default: any crew")
        parser.add_argument("--access", choices=AccessLevel.values, default="", help="default: as said of the last job")
        parser.add_argument("--soil", choices=SoilLevel.values, default="", help="default: the same way")
        parser.add_argument("--on", type=date.fromisoformat, metavar="YYYY-MM-DD", help="default: today")
        parser.add_argument("--json", action="store_true", help="one JSON object instead of the text")

    def handle(self, *args: Any, **options: Any) -> None:
        if options["quantity"] is not None and options["quantity"] < 1:
            raise CommandError("The quantity is 1 or more.")
        on = options["on"] or clock.local_date(company_get().timezone, clock.now())
        try:
            found = property_forecast(on=on, **{name: options[name] for name in ASKED})
        except WalldayError as error:
            raise CommandError(error.message) from error
        self.stdout.write(json.dumps(_as_json(found), indent=2) if options["json"] else _as_text(found))


def _as_json(found: MinutesForecast) -> dict[str, Any]:
    return {
        "mean_minutes": found.mean_minutes,
        "median_minutes": found.median_minutes,
        "q80_minutes": found.q80_minutes,
        "q90_minutes": found.q90_minutes,
        "why": list(forecast_words(found)),
    }


def _as_text(found: MinutesForecast) -> str:
    rows = (
        ("expected", found.mean_minutes),
        ("1 of 2 within", found.median_minutes),
        ("4 of 5 within", found.q80_minutes),
        ("9 of 10 within", found.q90_minutes),
    )
    lines = [f"{name:15}{hours_words(minutes):>8}" for name, minutes in rows]
    return "\n".join([*lines, *forecast_words(found)])
