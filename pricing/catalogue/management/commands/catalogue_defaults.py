from typing import Any

from django.core.management.base import BaseCommand

from pricing.catalogue.services import catalogue_defaults
from shared import clock
from shared.company.selectors import company_get


class Command(BaseCommand):
    help = "Give a company without a catalogue its first services, rate card and hourly target."

    def handle(self, *args: Any, **options: Any) -> None:
        today = clock.local_date(company_get().timezone, clock.now())
        card = catalogue_defaults(on=today)
        self.stdout.write(f"{card}: {card.rates.count()} services. Starting values: common practice, no source.")
