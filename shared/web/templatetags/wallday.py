"""The filters and tags of every template: `{% load wallday %}`."""

from collections.abc import Callable
from typing import Any

from django import template
from django.conf import settings
from django.core.paginator import Page
from django.forms import BoundField, CheckboxInput, CheckboxSelectMultiple, Form, RadioSelect
from django.http import HttpRequest
from django.template.base import Node, NodeList, Parser, Token
from django.utils.safestring import SafeString, mark_safe

from shared.web import charts, maps, sketch, words
from shared.web.present import company_now

register = template.Library()


# --- filters: figures as people read them ---


@register.filter
def money(cents: int | None, currency: str = "") -> str:
    """Cents as an amount in the firm's currency, or in the one named."""
    return words.money_words(cents, currency or company_now().currency)


@register.filter
def phone(e164: str | None) -> str:
    """E.164 as it is written in the firm's country."""
    return words.phone_words(e164, company_now().country)


@register.filter
def percent(share: float | None, digits: int = 0) -> str:
    """A share of one: `{{ 0.125|percent:1 }}` -> `12.5%`."""
    return words.percent_words(share, digits)


register.filter("hours", words.hours_words)
register.filter("clock_time", words.clock_words)
register.filter("miles", words.miles_words)
register.filter("day", words.day_words)


# --- capture: a block's text used twice, for the window's title and the h1 ---


class CaptureNode(Node):
    def __init__(self, name: str, nodelist: NodeList) -> None:
        self.name, self.nodelist = name, nodelist

    def render(self, context: template.Context) -> SafeString:
        context[self.name] = mark_safe(self.nodelist.render(context).strip())  # noqa: S308  rendered template text
        return mark_safe("")


@register.tag
def capture(parser: Parser, token: Token) -> CaptureNode:
    """`{% capture name %}...{% endcapture %}` renders nothing and keeps the text as `name`."""
    name = token.split_contents()[1]
    nodelist = parser.parse(("endcapture",))
    parser.delete_first_token()
    return CaptureNode(name, nodelist)


# --- forms ---


def _described_by(bound: BoundField) -> str:
    parts = [f"{bound.auto_id}_help"] if bound.help_text else []
    if bound.errors:
        parts.append(f"{bound.auto_id}_errors")
    return " ".join(parts)


@register.inclusion_tag("web/parts/field.html")
def field(bound: BoundField, **attributes: Any) -> dict[str, Any]:
    """One field with label, help and errors, tied together for screen readers.

    Further keywords become attributes of the control: `{% field form.phone inputmode="tel" %}` (`_` becomes `-`).
    """
    control = bound.field.widget
    attrs = {name.replace("_", "-"): value for name, value in attributes.items()}
    attrs["aria-describedby"] = _described_by(bound) or None
    attrs["aria-invalid"] = "true" if bound.errors else None
    return {
        "field": bound,
        "widget": bound.as_widget(attrs={name: value for name, value in attrs.items() if value is not None}),
        "is_check": isinstance(control, CheckboxInput),
        "is_group": isinstance(control, RadioSelect | CheckboxSelectMultiple),
    }


@register.inclusion_tag("web/parts/form_errors.html")
def form_errors(form: Form) -> dict[str, Any]:
    """The head of a form that was not accepted: what is wrong, each with a link to its field."""
    return {"form": form}


# --- lists ---


def _page_url(request: HttpRequest, number: int) -> str:
    query = request.GET.copy()
    query["page"] = str(number)
    return f"?{query.urlencode()}"


@register.inclusion_tag("web/parts/pager.html", takes_context=True)
def pager(context: template.Context, page: Page) -> dict[str, Any]:
    """Links to the pages before and after `page`; the rest of the query stays as it is."""
    request = context["request"]
    return {
        "page": page,
        "previous_url": _page_url(request, page.previous_page_number()) if page.has_previous() else "",
        "next_url": _page_url(request, page.next_page_number()) if page.has_next() else "",
    }


# --- pictures ---


def _numbers(unit: str) -> tuple[Callable[[float], str], Callable[[float], str]]:
    """How figures of a unit are written beside a bar, and below the axis."""
    currency = company_now().currency
    if unit == "money":
        return (
            lambda cents: words.money_words(cents, currency),
            lambda cents: words.whole_money_words(cents, currency),
        )
    write = {
        "hours": words.hours_words,
        "miles": words.miles_words,
        "percent": words.percent_words,
        "plain": lambda value: f"{value:g}",
    }[unit]
    return write, write


@register.inclusion_tag("web/parts/interval_chart.html")
def interval_chart(
    rows: Any, target: float | None = None, unit: str = "money", title: str = "", target_label: str = ""
) -> dict[str, Any]:
    """Estimates with their intervals against a target; see `shared.web.charts.interval_chart_of` for `rows`."""
    numbers, tick_numbers = _numbers(unit)
    made = [
        charts.interval_chart_of(rows, target=target, numbers=numbers, tick_numbers=tick_numbers, width=width)
        for width in (charts.WIDE, charts.NARROW)
    ]
    return {"layouts": made, "title": title, "target_label": target_label}


@register.inclusion_tag("web/parts/route_sketch.html")
def route_sketch(routes: Any, yard: Any = None, left_out: Any = (), title: str = "", roads: Any = ()) -> dict[str, Any]:
    """A sketch map of a day's routes; see `shared.web.sketch.sketch_of` for what each argument holds."""
    made = [
        sketch.sketch_of(routes, yard=yard, left_out=left_out, roads=roads, width=width)
        for width in (sketch.WIDE, sketch.NARROW)
    ]
    return {"sketches": made, "title": title}


@register.inclusion_tag("web/parts/place_map.html")
def place_map(marks: Any, lines: Any = (), title: str = "", source: str = "", pick: str = "") -> dict[str, Any]:
    """A map of `shared.web.maps.Mark`s and `Line`s, titled for screen readers; the page says the same in words.

    The page's head block includes `web/parts/map_head.html`. `source` is the address of a GeoJSON whose lines replace
    those that were given once it has come. `pick` is the id of a form with fields `latitude` and `longitude`: a press
    on the map, or dragging its pin, fills them in. What stands in an element with `data-without-map` is hidden once
    the map is drawn.
    """
    marks, lines = list(marks), list(lines)
    return {
        "data": maps.feature_collection(marks, lines),
        "shapes": maps.legend_shapes(marks),
        "lines": maps.legend_lines(lines),
        "title": title,
        "source": source,
        "pick": pick,
        "tile_url": settings.WALLDAY_TILE_URL,
        "tile_source": settings.WALLDAY_TILE_SOURCE,
    }
