"""Where the parts of an interval chart go."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shared.web.charts import NARROW, WIDE, interval_chart_of, nice_step

FIGURE = st.floats(-1e9, 1e9, allow_nan=False)


@st.composite
def rows(draw: st.DrawFn) -> list[dict[str, object]]:
    made = []
    for number in range(draw(st.integers(0, 8))):
        low, value, high = sorted(draw(st.tuples(FIGURE, FIGURE, FIGURE)))
        shown = draw(st.booleans())
        made.append(
            {"label": f"Kind {number}", "value": value if shown else None, "low": low, "high": high, "note": "x"}
        )
    return made


def words(value: float) -> str:
    return f"{value:.0f}"


@given(rows(), st.none() | FIGURE, st.sampled_from([WIDE, NARROW]))
def test_everything_stays_inside_and_in_order(given_rows: list[dict], target: float | None, width: int) -> None:
    """Points, ends and the target lie between the axis's ends; low <= value <= high also on the page."""
    chart = interval_chart_of(given_rows, target=target, numbers=words, width=width)
    assert len(chart.rows) == len(given_rows)
    for row in chart.rows:
        assert chart.left <= row.x_low <= row.x_high <= chart.right
        assert row.x is None or row.x_low <= row.x <= row.x_high
        assert chart.top < row.y < chart.bottom <= chart.height
    if target is None:
        assert chart.target_x is None
    else:
        assert chart.left <= chart.target_x <= chart.right
    assert 2 <= len(chart.ticks) <= 8
    assert all(earlier.y < later.y for earlier, later in zip(chart.rows, chart.rows[1:], strict=False))


def test_lengths_are_in_proportion() -> None:
    """Twice the figure is twice as far from zero."""
    chart = interval_chart_of(
        [{"label": "a", "value": 100.0}, {"label": "b", "value": 200.0}], target=None, numbers=words, width=WIDE
    )
    zero = next(tick.x for tick in chart.ticks if tick.text == "0")
    assert chart.rows[1].x - zero == pytest.approx(2 * (chart.rows[0].x - zero), abs=0.2)


def test_a_row_without_an_interval_has_no_bar() -> None:
    """Too few jobs give a figure without ends, or no figure at all."""
    chart = interval_chart_of([{"label": "a", "value": None}], target=5.0, numbers=words, width=NARROW)
    assert (chart.rows[0].x, chart.rows[0].x_low, chart.rows[0].value_text) == (None, None, "")


def test_a_long_label_takes_two_lines() -> None:
    """Beside the bars there is room for 24 letters in a line."""
    chart = interval_chart_of(
        [{"label": "Chalk removal from siding and shutters"}], target=None, numbers=words, width=WIDE
    )
    assert [line for _, line in chart.rows[0].label_lines] == ["Chalk removal from", "siding and shutters"]


@given(st.floats(1e-6, 1e12), st.integers(1, 10))
def test_steps_are_round_and_enough(span: float, steps: int) -> None:
    """A step is 1, 2 or 5 times a power of ten and covers the span in so many steps, but not needlessly wide."""
    step = nice_step(span, steps)
    digit = step / 10 ** math.floor(math.log10(step) + 1e-9)
    assert min(abs(digit - nice) for nice in (1, 2, 5, 10)) < 1e-6
    assert step * steps >= span * (1 - 1e-6)
    assert step <= span / steps * 2.5 * (1 + 1e-6)
