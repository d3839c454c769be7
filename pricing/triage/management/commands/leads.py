from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from pricing.triage.views import today_of
from pricing.triage.wording import advice_words, days_words
from routing.plans.models import Yard
from routing.plans.selectors.leads import lead_triage
from shared.company.selectors import company_get
from shared.web.words import hours_words, money_words


class Command(BaseCommand):
    help = "Which leads to take: each with its advice, what it earns a crew-hour and what its hours are worth."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("yard", nargs="?", default="", help="code of the yard; default: the first")

    def handle(self, *args: Any, **options: Any) -> None:
        code = options["yard"]
        yard = Yard.objects.filter(code=code).first() if code else Yard.objects.order_by("code").first()
        if yard is None:
            raise CommandError("There is no such yard.")
        currency = company_get().currency
        for row in lead_triage(yard=yard, today=today_of(yard)).judged:
            earned = money_words(row.earned_cents_per_crew_hour, currency)
            hours = hours_words(row.best.crew_minutes if row.best else None)
            day = next(iter(days_words(row)), "")
            self.stdout.write(
                f"job {row.lead.job_id:<6} {advice_words(row, currency):<28} {earned:>10}/h {hours:>10}  {day}"
            )
