"""A forecast and its reasons in words, for pages, commands and messages."""

from collections.abc import Callable

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from pricing.minutes.domain.forecast import Effect, MinutesForecast


def forecast_sentence(forecast: MinutesForecast) -> str:
    """Such as "Based on 41 jobs like this; your crews against the card +4 %; storeys +22 %."."""
    reasons = [effect_words(effect) for effect in forecast.effects]
    return "; ".join([basis_words(forecast), *reasons]) + "."


def basis_words(forecast: MinutesForecast) -> str:
    """How many jobs a forecast rests on, or that it is the card alone."""
    if forecast.based_on_jobs:
        words = ngettext("Based on %(n)s job like this", "Based on %(n)s jobs like this", forecast.based_on_jobs)
        return words % {"n": forecast.based_on_jobs}
    if forecast.service_jobs:
        words = ngettext(
            "Based on %(n)s job of this service, none with as many storeys",
            "Based on %(n)s jobs of this service, none with as many storeys",
            forecast.service_jobs,
        )
        return words % {"n": forecast.service_jobs}
    return _("From the rate card: no job of this service is known yet")


def effect_words(effect: Effect) -> str:
    """One reason with its percent."""
    words: dict[str, Callable[[], str]] = {
        "history": lambda: _("your crews against the card"),
        "storeys": lambda: _("storeys"),
        "access": lambda: _("tight access") if effect.level == "tight" else _("easy access"),
        "soil": lambda: _("heavy soil") if effect.level == "heavy" else _("light soil"),
        "chalk": lambda: _("chalk reading %(reading)s") % {"reading": effect.level},
        "material": lambda: _("material: %(name)s") % {"name": effect.level.replace("_", " ")},
        "crew": lambda: _("crew %(name)s") % {"name": effect.level},
        "season": lambda: _("season: %(name)s") % {"name": season_word(effect.level)},
    }
    return f"{words[effect.factor]()} {effect.percent:+d} %".replace("-", "\u2212", 1)


def season_word(season: str) -> str:
    """A quarter of the year as people call it."""
    return {"winter": _("winter"), "spring": _("spring"), "summer": _("summer"), "autumn": _("autumn")}[season]
