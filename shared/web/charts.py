"""Where the parts of an interval chart go: from figures to coordinates. The template only draws them."""

import math
import textwrap
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

# Width of the drawing in its own units, which are CSS pixels on the screens that each layout is for.
WIDE, NARROW = 720, 328
ROW_WIDE, ROW_NARROW = 44, 72
HEAD, FOOT = 28, 26
# Space for the labels on the left of the wide layout; the narrow one writes them above each bar.
LABELS_WIDE = 190
VALUES_WIDE = 150
LETTERS_WIDE = 24
EDGE = 14
# The ends stand out beyond the point (radius 4.5), so that an interval narrower than the point is seen as one.
END_HEIGHT = 18


@dataclass(frozen=True)
class IntervalRow:
    """One estimate. Coordinates are in the drawing's units; `*_text` is what is written.

    `y` is the line of the bar; in the narrow layout label and figures stand above it, in the wide one beside it.
    """

    label: str
    label_lines: tuple[tuple[float, str], ...]
    note: str
    value_text: str
    range_text: str
    is_warning: bool
    y: float
    value_y: float
    note_y: float
    end_top: float
    x: float | None
    x_low: float | None
    x_high: float | None


@dataclass(frozen=True)
class Tick:
    x: float
    text: str


@dataclass(frozen=True)
class IntervalChart:
    name: str
    is_wide: bool
    width: int
    height: int
    left: float
    right: float
    top: float
    bottom: float
    rows: tuple[IntervalRow, ...]
    ticks: tuple[Tick, ...]
    target_x: float | None
    target_text: str
    target_anchor: str


def _read(row: Any, name: str) -> Any:
    return row.get(name) if isinstance(row, Mapping) else getattr(row, name, None)


def nice_step(span: float, steps: int) -> float:
    """The smallest of 1, 2, 5 times a power of ten that covers `span` in at most `steps` steps."""
    raw = span / steps if span > 0 else 1.0
    power = 10.0 ** math.floor(math.log10(raw))
    return next(factor * power for factor in (1, 2, 5, 10) if factor * power >= raw * (1 - 1e-9))


def _extent(values: Iterable[float]) -> tuple[float, float]:
    """Lowest and highest figure shown; zero belongs in, so that lengths may be compared."""
    found = [0.0, *values]
    low, high = min(found), max(found)
    return (low, high) if high > low else (low, low + 1.0)


def interval_chart_of(
    rows: Iterable[Any],
    *,
    target: float | None,
    numbers: Callable[[float], str],
    width: int,
    tick_numbers: Callable[[float], str] | None = None,
) -> IntervalChart:
    """Lay out a chart of estimates with intervals.

    Each row is an object or a mapping with `label`, `value` (None: no estimate), `low`, `high` (None: no interval),
    `note` (a word or two, such as "below target") and optionally `warning` (draws the point in the warning colour;
    the note says the same in words). `numbers` writes a figure as text, `tick_numbers` one below the axis.
    """
    given = list(rows)
    is_wide = width >= WIDE
    step_y, left = (ROW_WIDE, LABELS_WIDE) if is_wide else (ROW_NARROW, EDGE)
    right = width - (VALUES_WIDE if is_wide else EDGE)
    figures = [_read(row, name) for row in given for name in ("value", "low", "high")] + [target]
    low, high = _extent(float(figure) for figure in figures if figure is not None and math.isfinite(figure))
    step = nice_step(high - low, 5 if is_wide else 3)
    low, high = math.floor(low / step) * step, math.ceil(high / step - 1e-9) * step

    def x_of(figure: float | None) -> float | None:
        if figure is None or math.isnan(figure):
            return None
        inside = min(max(figure, low), high)
        return round(left + (right - left) * (inside - low) / (high - low), 1)

    bottom = HEAD + step_y * max(1, len(given))
    count = round((high - low) / step)
    ticks = tuple(
        Tick(x_of(low + i * step) or left, (tick_numbers or numbers)(low + i * step)) for i in range(count + 1)
    )
    made = (
        _row(row, HEAD + step_y * (i + (0.5 if is_wide else 0.75)), is_wide, x_of, numbers)
        for i, row in enumerate(given)
    )
    target_x = x_of(target)
    return IntervalChart(
        name="wide" if is_wide else "narrow",
        is_wide=is_wide,
        width=width,
        height=bottom + FOOT,
        left=left,
        right=right,
        top=HEAD,
        bottom=bottom,
        rows=tuple(made),
        ticks=ticks,
        target_x=target_x,
        target_text="" if target is None else numbers(target),
        target_anchor=_anchor(target_x, left, right),
    )


def _anchor(x: float | None, left: float, right: float) -> str:
    """How the words over the target line are set so that they stay inside the drawing."""
    if x is None or left + 60 <= x <= right - 60:
        return "middle"
    return "start" if x < left + 60 else "end"


def _label_lines(label: str, y: float) -> tuple[tuple[float, str], ...]:
    """The label in one line, or in two around the bar's height."""
    lines = textwrap.wrap(label, LETTERS_WIDE, max_lines=2, placeholder=" …")
    return ((y + 5, label),) if len(lines) < 2 else ((y - 3, lines[0]), (y + 14, lines[1]))


def _row(
    row: Any,
    y: float,
    is_wide: bool,
    x_of: Callable[[float | None], float | None],
    numbers: Callable[[float], str],
) -> IntervalRow:
    label, note = str(_read(row, "label")), str(_read(row, "note") or "")
    value, low, high = (_read(row, name) for name in ("value", "low", "high"))
    bounded = low is not None and high is not None
    return IntervalRow(
        label=label,
        label_lines=_label_lines(label, y) if is_wide else ((y - 36, label),),
        note=note,
        value_text="" if value is None else numbers(value),
        range_text=f"{numbers(low)} – {numbers(high)}" if bounded else "",
        is_warning=bool(_read(row, "warning")),
        y=y,
        value_y=(y - 3 if note else y + 5) if is_wide else y - 18,
        note_y=y + 14 if is_wide else y - 18,
        end_top=y - END_HEIGHT / 2,
        x=x_of(value),
        x_low=x_of(low) if bounded else None,
        x_high=x_of(high) if bounded else None,
    )
