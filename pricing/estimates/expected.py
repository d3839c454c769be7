"""The minutes that a line is expected to take, with their spread and how they came about."""

from dataclasses import dataclass

from django.utils.translation import gettext as _

from pricing.catalogue.domain import RateTerms
from pricing.estimates.domain import line_minutes
from pricing.estimates.domain.spread import MinutesSpread
from shared.web.words import hours_words

# Spread of the logarithm of minutes about the card's, where there is no history: one job in ten takes more than about
# half as long again. Common practice, no source.
USUAL_LOG_SD = 0.35


@dataclass(frozen=True, slots=True)
class ExpectedMinutes:
    """`minutes` is the expected value in whole minutes; `why` explains it in sentences."""

    spread: MinutesSpread
    minutes: int
    why: tuple[str, ...]


def expected_minutes(rate: RateTerms, quantity: int, *, storeys: int) -> ExpectedMinutes:
    """By the rate card, for a two-person crew."""
    minutes = max(1, line_minutes(rate, quantity, storeys))
    return ExpectedMinutes(MinutesSpread(minutes, USUAL_LOG_SD), minutes, _card_words(rate, quantity, storeys))


def _card_words(rate: RateTerms, quantity: int, storeys: int) -> tuple[str, ...]:
    words = _("By the rate card: %(quantity)s at %(pace)s an hour, set-up %(setup)s.")
    figures = {
        "quantity": f"{quantity:,}",
        "pace": f"{rate.units_per_crew_hour if storeys == 1 else rate.units_per_crew_hour_high:,}",
        "setup": hours_words(rate.setup_minutes),
    }
    return (words % figures, _("No history of jobs like this is counted yet: the spread is a usual one, no source."))
