"""The spread of minutes, the chance that follows from it, and the driving of a new place."""

import math
import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pricing.estimates.domain.driving import (
    DrivenRoute,
    best_insertion,
    share_in,
    there_and_back_share,
    usual_share,
)
from pricing.estimates.domain.money import price_at
from pricing.estimates.domain.outlook import outlook_of
from pricing.estimates.domain.spread import MinutesSpread, log_normal, spread_from_quantiles, spread_together

SPREADS = st.builds(log_normal, st.floats(1, 600), st.floats(0, 1))


@given(SPREADS, st.floats(0.01, 0.99))
def test_quantile_and_chance_are_each_others_inverse(spread: MinutesSpread, share: float) -> None:
    """The chance to stay within the p quantile is p; the median is the half, and no more than the mean."""
    assert spread.median <= spread.mean * (1 + 1e-12)
    if spread.log_sd > 1e-3:
        assert math.isclose(spread.chance_within(spread.quantile(share)), share, rel_tol=1e-6)
        assert math.isclose(spread.chance_within(spread.median), 0.5, rel_tol=1e-9)


@given(SPREADS)
def test_quantiles_give_the_spread_back(spread: MinutesSpread) -> None:
    """Mean, median and 90 % quantile say all that there is to say."""
    again = spread_from_quantiles(spread.mean, spread.median, spread.quantile(0.9))
    assert math.isclose(again.log_sd, spread.log_sd, abs_tol=1e-9)


@given(st.lists(SPREADS, min_size=1, max_size=5))
def test_a_sum_has_the_mean_of_its_parts(parts: list[MinutesSpread]) -> None:
    """Means add up; together the relative spread is never larger than that of the most uncertain part."""
    whole = spread_together(parts)
    assert math.isclose(whole.mean, sum(part.mean for part in parts))
    assert whole.log_sd <= max(part.log_sd for part in parts) + 1e-9


def test_the_sum_agrees_with_simulation() -> None:
    """Three lines with correlated logarithms, 20,000 times: quantiles of the matched sum within 2 %."""
    rng = random.Random(5)
    parts = [log_normal(140, 0.35), log_normal(260, 0.45), log_normal(60, 0.3)]
    sums = []
    for _ in range(20_000):
        shared = rng.gauss(0, 1)
        sums.append(sum(p.median * math.exp(p.log_sd * (math.sqrt(0.5) * (shared + rng.gauss(0, 1)))) for p in parts))
    sums.sort()
    whole = spread_together(parts, 0.5)
    for share in (0.5, 0.8, 0.9):
        assert abs(whole.quantile(share) / sums[int(share * len(sums))] - 1) < 0.02


@pytest.mark.parametrize("wrong", [(0, 1, 0.3), (-1, 1, 0.3), (10, 0, 0.3), (10, 9, -0.1), (math.nan, 1, 0.1)])
def test_a_spread_must_make_sense(wrong: tuple[float, float, float]) -> None:
    with pytest.raises(ValueError, match="Expected"):
        MinutesSpread(*wrong)


def outlook(price_cents: int, log_sd: float = 0.35) -> object:
    return outlook_of(
        [log_normal(140, log_sd)], [140], drive_minutes=20, materials_cents=28_80,
        price_cents=price_cents, target_cents=175_00, reserve_cents=110_00,
    )  # fmt: skip


def test_an_outlook_by_hand() -> None:
    """160 crew-minutes: target price $466.67, least price 160/60 x $110 + $28.80 = $322.14; $624 earns $234 an hour."""
    found = outlook(624_00)
    assert (found.target_price_cents, found.least_price_cents) == (466_67, 322_14)
    assert found.earned_cents_per_crew_hour == 234_00
    # 624/175 h = 213.9 min less 20 of driving: 193.9 against a median of 131.7 and a spread of 0.35
    assert round(found.chance, 2) == 0.87
    assert outlook(466_67, 0).chance == 1.0
    assert outlook(466_66, 0).chance == 0.0


@given(st.floats(0.05, 0.9), st.integers(1, 200_000))
def test_the_chance_grows_with_the_price(log_sd: float, price: int) -> None:
    """More money is never less likely to be enough; at the target price the chance is above a half."""
    assert outlook(price + 100, log_sd).chance >= outlook(price, log_sd).chance
    assert outlook(price_at(175_00, 160), log_sd).chance > 0.5


# --- driving ---

# Places: 0 yard, 1 and 2 neighbours 10 minutes out, 3 far the other way, 4 the new one beside 2.
LINE = [0, 10, 12, -30, 13]
TABLE = tuple(tuple(abs(a - b) for b in LINE) for a in LINE)


def test_the_new_stop_goes_where_it_adds_least() -> None:
    """Beside the neighbours it adds 2 minutes (there and back again); nothing else there saves any, so it bears 26."""
    day = best_insertion(TABLE, [DrivenRoute(0, (3,), 0), DrivenRoute(0, (1, 2), 0)], 4)
    assert day is not None
    assert (day.added_minutes, day.order) == (2, (1, 4, 2))  # as little as at the end; the earlier place wins
    assert share_in(TABLE, day, 4) == 26
    assert usual_share([26, 10, 4]) == 10


def test_no_road_leads_there() -> None:
    """An island: no insertion, and no figure made up for it."""
    table = tuple(tuple(None if 4 in (a, b) and a != b else TABLE[a][b] for b in range(5)) for a in range(5))
    assert best_insertion(table, [DrivenRoute(0, (1, 2), 0)], 4) is None
    assert best_insertion(TABLE, [], 4) is None


def test_without_days_there_and_back_is_shared() -> None:
    """13 out and 13 back over three stops."""
    assert there_and_back_share(13, 13) == 9


@given(st.lists(st.tuples(st.integers(-60, 60), st.integers(-60, 60)), min_size=2, max_size=8))
def test_inserting_never_saves_and_its_share_is_bounded(points: list[tuple[int, int]]) -> None:
    """On any map the added minutes are not negative and the share lies within the route's driving."""
    table = tuple(tuple(math.ceil(math.dist(a, b)) for b in points) for a in points)
    order, place = tuple(range(1, len(points) - 1)), len(points) - 1
    day = best_insertion(table, [DrivenRoute(0, order, 0)], place)
    assert day is not None
    stops = [day.start, *day.order, day.end]
    whole = sum(table[a][b] for a, b in zip(stops, stops[1:], strict=False))
    assert 0 <= share_in(table, day, place) <= whole
