"""What a day's weather means for the work, in words; see `domain.safety` for the sources.

Of frost (about 40 F) and wind (about 20 mph): common practice, no source. The break every two hours from a heat index
of 90 F: a federal rule proposed on 2024-08-30, not final when it was looked at in November 2026; not legal advice.
"""

from collections.abc import Iterable

from django.utils.translation import gettext as _

from routing.dispatch.domain.safety import SUN_ADDS_F, heat_band, heat_index_f
from routing.dispatch.models import DayWeather
from shared.units import round_half_up

CARE_FROM_F, BREAKS_FROM_F = 80, 90
FROST_BELOW_F, WIND_FROM_MPH = 40, 20


def thunder_words() -> str:
    return _("Thunder: stop when you hear it; go on 30 minutes after the last one.")


def band_words(index_f: float) -> str:
    """What to do at a heat index."""
    return {
        "lower": _("lower: water, shade, breaks as needed"),
        "moderate": _("moderate: drink often, rest in the shade, look after each other"),
        "high": _("high: shorter spells, longer breaks, no one alone"),
        "very_high": _("very high: put the work off where you can"),
    }[heat_band(index_f)]


def heat_words(index_f: float) -> str:
    """A heat index with its band and what the sun adds."""
    words = _("Feels like %(index)s F in the shade, up to %(sun)s F in full sun (%(band)s).")
    index = round_half_up(index_f)
    return words % {"index": index, "band": band_words(index_f), "sun": index + SUN_ADDS_F}


def weather_words(weather: DayWeather | None) -> tuple[str, ...]:
    """What the crew has to mind on the day; without anything written down, what to mind on any."""
    if weather is None:
        heat = _("Heat: drink often and rest in the shade from a heat index of 91 F on; full sun adds up to 15 F.")
        return heat, thunder_words()
    return tuple(_of(weather))


def _of(weather: DayWeather) -> Iterable[str]:
    index = heat_index_f(weather.high_f, weather.humidity_percent)
    figures = {"high": weather.high_f, "humidity": weather.humidity_percent, "wind": weather.wind_mph}
    yield _("Up to %(high)s F with %(humidity)s %% humidity.") % figures
    if index >= CARE_FROM_F:
        yield _("HEAT: %(words)s") % {"words": heat_words(index)}
    if index >= BREAKS_FROM_F:
        yield _("A break of 15 minutes every 2 hours (proposed federal rule of 2024, not final).")
    if weather.high_f < FROST_BELOW_F:
        yield _("FROST: most stop washing under about 40 F; ice on walks and ladders.")
    if weather.wind_mph is not None and weather.wind_mph >= WIND_FROM_MPH:
        yield _("WIND of %(wind)s mph: spray drifts; stay off ladders and roofs.") % figures
    yield (
        _("THUNDER is forecast: stop when you hear it; go on 30 minutes after the last one.")
        if weather.has_thunder
        else thunder_words()
    )
