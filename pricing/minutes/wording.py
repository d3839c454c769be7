"""Where a forecast comes from, in sentences."""

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from pricing.minutes.domain.forecast import Effect, MinutesForecast


def forecast_words(forecast: MinutesForecast) -> tuple[str, ...]:
    """How many jobs it rests on, and what each circumstance adds: `storeys 2 +33%`."""
    effects = ", ".join(_effect_words(effect) for effect in forecast.effects)
    return tuple(part for part in (_history_words(forecast), effects and f"{effects}.") if part)


def _history_words(forecast: MinutesForecast) -> str:
    if not forecast.service_jobs:
        return _("No jobs of this kind are booked yet: the card alone, with a wide spread.")
    words = ngettext(
        "Based on %(jobs)s job like this, %(all)s of the service.",
        "Based on %(jobs)s jobs like this, %(all)s of the service.",
        forecast.based_on_jobs,
    )
    return words % {"jobs": forecast.based_on_jobs, "all": forecast.service_jobs}


def _effect_words(effect: Effect) -> str:
    """`storeys 2 +33%`."""
    names = {
        "history": _("own history against the card"),
        "storeys": _("storeys"),
        "access": _("access"),
        "soil": _("soil"),
        "chalk": _("chalk"),
        "material": _("material"),
        "crew": _("crew"),
        "season": _("season"),
    }
    level = f"{float(effect.level):g}" if effect.factor == "chalk" else effect.level.replace("_", " ")
    return " ".join(part for part in (names[effect.factor], level, f"{effect.percent:+d}%") if part)
