"""The minutes that a line is expected to take, with their spread and how they came about."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from django.utils.translation import gettext as _

from pricing.catalogue.choices import Unit
from pricing.catalogue.domain import Circumstances, RateTerms
from pricing.estimates.domain.spread import MinutesSpread, spread_from_quantiles
from pricing.estimates.inputs import WallFacts
from pricing.minutes.domain.features import JobFeatures
from pricing.minutes.domain.forecast import MinutesForecast, expected_minutes
from pricing.minutes.domain.model import MinutesModel
from pricing.minutes.wording import forecast_words
from shared.units import round_half_up
from shared.web.words import hours_words


@dataclass(frozen=True, slots=True)
class ExpectedMinutes:
    """Whole minutes on site of a two-person crew: expected, median, the 80 % and 90 % quantiles, and what the card
    alone says; `why` explains them in sentences."""

    minutes: int
    median_minutes: int
    q80_minutes: int
    q90_minutes: int
    card_minutes: int
    why: tuple[str, ...]

    @property
    def spread(self) -> MinutesSpread:
        return spread_from_quantiles(self.minutes, self.median_minutes, self.q90_minutes)


def line_expected(
    rate: RateTerms,
    quantity: int,
    job: Circumstances,
    *,
    is_addition: bool = False,
    model: MinutesModel | None = None,
) -> ExpectedMinutes:
    """What the company's own jobs have shown, or the rate card where there is no model or no history.

    An addition has no set-up of its own: its quantiles shrink in proportion.
    """
    features = JobFeatures(
        service_code=rate.service_code,
        quantity=quantity,
        storeys=job.storeys,
        access=job.access,
        soil=job.soil,
        chalk_reading=job.chalk_reading,
        material=job.material,
    )
    forecast = expected_minutes(features, rate, model)
    setup = rate.setup_minutes if is_addition else 0
    part = max(1.0, forecast.mean - setup) / forecast.mean
    return ExpectedMinutes(
        minutes=_whole(forecast.mean * part),
        median_minutes=_whole(forecast.median * part),
        q80_minutes=_whole(forecast.quantile(0.8) * part),
        q90_minutes=_whole(forecast.quantile(0.9) * part),
        card_minutes=_whole(forecast.card_minutes - setup),
        why=_why(forecast, rate, quantity, is_addition),
    )


def circumstances_of(rate: RateTerms, job: Circumstances, walls: Sequence[WallFacts]) -> Circumstances:
    """A job as it is for one of its lines: `walls` are those that are worked on.

    Chalk and material count for work on walls alone, as jobs are learnt from.
    """
    on_walls = walls if rate.unit == Unit.WALL_SQFT else ()
    return replace(job, chalk_reading=chalk_of(on_walls), material=material_of(on_walls))


def _whole(minutes: float) -> int:
    return max(1, round_half_up(minutes))


def chalk_of(walls: Sequence[WallFacts]) -> float | None:
    """The worst of the readings that are known, as jobs are learnt from; None where nobody looked."""
    return max((wall.chalk for wall in walls if wall.chalk is not None), default=None)


def material_of(walls: Sequence[WallFacts]) -> str:
    """The material of most of the area; empty for no wall."""
    areas: dict[str, int] = {}
    for wall in walls:
        areas[wall.material] = areas.get(wall.material, 0) + (wall.area_sqft or 1)
    return max(areas, key=lambda material: areas[material], default="")


def _why(forecast: MinutesForecast, rate: RateTerms, quantity: int, is_addition: bool) -> tuple[str, ...]:
    high = rate.units_per_crew_hour_high
    card = _("The card: %(quantity)s at %(pace)s an hour (%(high)s from two storeys on), set-up %(setup)s.") % {
        "quantity": f"{quantity:,}",
        "pace": f"{rate.units_per_crew_hour:,}",
        "high": f"{high:,}",
        "setup": hours_words(0 if is_addition else rate.setup_minutes),
    }
    return (*forecast_words(forecast), card)
