"""Chalk on the pages of other rooms: `{% load chalking %}`."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from django import template

from jobs.chalking.domain.verdict import Verdict
from jobs.chalking.pictures import bar_tells, house_sketch, reading_chart
from jobs.chalking.selectors import (
    WallChalk,
    chalk_setting_get,
    forecast_verdict,
    growth_shape,
    property_chalk,
    usual_latitude,
    wall_chalk,
)
from jobs.chalking.words import forecast_facts, gain_words, light_words
from jobs.customers.models import Property, Wall
from jobs.walkthroughs.domain import step_text
from shared import clock
from shared.web.present import company_now

register = template.Library()


@register.inclusion_tag("chalking/parts/property.html")
def property_chalk_section(place: Property) -> dict[str, Any]:
    """The house seen from above, its walls with readings and forecasts, and a chart of each wall."""
    walls, known = property_chalk(place), _known(place)
    newest = {chalk.wall.pk: chalk.newest for chalk in walls if chalk.newest}
    return {
        "rows": [_row(chalk, known) for chalk in walls],
        "sketch": house_sketch(place, [chalk.wall for chalk in walls], newest, _suspects(walls, known)),
        "limit": step_text(known.limit),
        "place": place,
        "untested": sum(chalk.forecast is not None and chalk.forecast.is_untested for chalk in walls),
    }


@register.inclusion_tag("chalking/parts/wall.html")
def wall_chalk_section(wall: Wall) -> dict[str, Any]:
    """When one wall passes the limit, what that rests on, and its chart."""
    chalk, known = wall_chalk(wall), _known(wall.property)
    row = chalk.forecast
    gain = gain_words(row, shape=known.shape, today=known.today) if row and not row.is_untested else ""
    return {"row": _row(chalk, known) | {"gain": gain}, "limit": step_text(known.limit)}


def _suspects(walls: list[WallChalk], known: "_Known") -> set[int]:
    untested = ((chalk.wall.pk, chalk.forecast) for chalk in walls if chalk.forecast and chalk.forecast.is_untested)
    found = {pk: forecast_verdict(row, reading=None, limit=known.limit, today=known.today) for pk, row in untested}
    return {pk for pk, verdict in found.items() if verdict in (Verdict.HAS_PASSED, Verdict.PROBABLY_PASSED)}


@dataclass(frozen=True)
class _Known:
    limit: Decimal
    shape: float
    today: date
    has_place: bool
    is_southern: bool


def _known(place: Property) -> _Known:
    today = clock.local_date(company_now().timezone, clock.now())
    latitude = usual_latitude() if place.latitude is None else place.latitude
    return _Known(chalk_setting_get().limit_decimal, growth_shape(), today, place.latitude is not None, latitude < 0)


def _row(chalk: WallChalk, known: _Known) -> dict[str, Any]:
    newest, row = chalk.newest, chalk.forecast
    reading = newest.reading if newest else None
    chart = None
    if chalk.readings or (row and bar_tells(row, known.today)):
        chart = reading_chart(chalk.readings, row, limit=float(known.limit), shape=known.shape, today=known.today)
    return {
        "wall": chalk.wall,
        "readings": chalk.readings,
        "forecast": row,
        "newest": newest,
        "chart": chart,
        "light": light_words(row, chalk.wall, has_place=known.has_place, is_southern=known.is_southern) if row else "",
        **forecast_facts(row, reading=reading, limit=known.limit, today=known.today),
    }


@register.filter
def step(reading: Decimal | None) -> str:
    """A reading as people write it: `2.5`."""
    return "" if reading is None else step_text(reading)
