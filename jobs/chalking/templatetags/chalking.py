"""Chalk on the pages of other rooms: `{% load chalking %}`."""

from datetime import date
from decimal import Decimal
from typing import Any

from django import template

from jobs.chalking.models import ChalkSetting
from jobs.chalking.pictures import grade_of, house_sketch, reading_chart
from jobs.chalking.selectors import WallChalk, chalk_setting_get, growth_shape, property_chalk
from jobs.chalking.words import forecast_facts
from jobs.customers.models import Property
from jobs.walkthroughs.domain import step_text
from shared import clock
from shared.web.present import company_now

register = template.Library()


@register.inclusion_tag("chalking/parts/property.html")
def property_chalk_section(place: Property) -> dict[str, Any]:
    """The house seen from above, its walls with readings and forecasts, and a chart of each wall."""
    today = clock.local_date(company_now().timezone, clock.now())
    walls, setting, shape = property_chalk(place), chalk_setting_get(), growth_shape()
    newest = {chalk.wall.pk: chalk.readings[-1] for chalk in walls if chalk.readings}
    return {
        "rows": [_row(chalk, setting, shape, today) for chalk in walls],
        "sketch": house_sketch(place, [chalk.wall for chalk in walls], newest),
        "limit": step_text(setting.limit_decimal),
        "place": place,
    }


def _row(chalk: WallChalk, setting: ChalkSetting, shape: float, today: date) -> dict[str, Any]:
    newest = chalk.readings[-1] if chalk.readings else None
    chart = None
    if chalk.readings:
        chart = reading_chart(chalk.readings, chalk.forecast, limit=setting.limit, shape=shape, today=today)
    return {
        "wall": chalk.wall,
        "readings": chalk.readings,
        "newest": newest,
        "grade": grade_of(newest.reading if newest else None),
        "chart": chart,
        **forecast_facts(chalk.forecast, today),
    }


@register.filter
def step(reading: Decimal | None) -> str:
    """A reading as people write it: `2.5`."""
    return "" if reading is None else step_text(reading)
