"""Mixes of any strength: what goes in comes out, and nothing is stronger than its stock."""

from fractions import Fraction

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from jobs.mixing.domain.fading import strength_after
from jobs.mixing.domain.mixing import Injector, batch_mix, full_jug, injector_mix
from jobs.mixing.domain.plan import MixWish, is_above, mix_plan, points_on, require_weaker
from jobs.mixing.domain.strength import (
    CHLORINE,
    Basis,
    CannotMix,
    Strength,
    amount_wanted,
    percent_of_amount,
    strength_amount,
)
from jobs.mixing.words import strength_words
from shared.units import measured_ounces, ml_from_us_gallons

bases = st.sampled_from(sorted(CHLORINE))
stocks = st.builds(Strength, st.integers(300, 2_000), bases, st.integers(1_010, 1_300))
targets = st.builds(Strength, st.integers(1, 400), bases)
injectors = st.tuples(st.integers(1, 5_000), st.integers(1, 50_000)).map(lambda ml: Injector(ml[0], ml[0] + ml[1]))


@given(stocks, targets)
def test_there_and_back(stock: Strength, target: Strength) -> None:
    """The amount that a percentage asks for is that percentage again, on any basis."""
    amount = amount_wanted(target, stock)
    assert percent_of_amount(amount, target.basis, stock) == pytest.approx(target.percent, rel=1e-9)


@given(stocks, targets, st.integers(1_000, 1_000_000))
def test_nothing_is_lost_in_a_batch(stock: Strength, target: Strength, volume_ml: int) -> None:
    """Stock and water are the volume, and the chlorine in the stock is the chlorine wanted, to a millilitre, and never
    more than that."""
    want, have = amount_wanted(target, stock), strength_amount(stock)
    assume(want < have)
    batch = batch_mix(stock, target, volume_ml)
    assert batch.stock_ml + batch.water_ml == volume_ml
    assert 0 <= volume_ml * want * (1 + 1e-9) - batch.stock_ml * have <= have * 1.001


@given(stocks, targets, st.integers(1_000, 1_000_000))
def test_measured_out_it_is_never_stronger(stock: Strength, target: Strength, volume_ml: int) -> None:
    """Stock to the mark below and water to the mark above bring the target or less, to a thousandth of it; and from
    half a pint of stock on no less than nine tenths of it."""
    want, have = amount_wanted(target, stock), strength_amount(stock)
    assume(want < have)
    batch = batch_mix(stock, target, volume_ml)
    into = measured_ounces(batch.stock_ml, up=False)
    water = measured_ounces(batch.water_ml, up=True)
    assume(into + water > 0)
    brings = have * float(into / (into + water))
    assert brings <= want * 1.001
    if into >= 8 and water >= 8:
        assert brings >= want * 0.9


@given(st.integers(1, 2_000_000))
def test_marks(volume_ml: int) -> None:
    """The mark below and the mark above are at most one mark apart, and a mark is its own."""
    below, above = measured_ounces(volume_ml, up=False), measured_ounces(volume_ml, up=True)
    assert 0 <= above - below <= max(Fraction(1, 4), below / 8, Fraction(4) if below >= 124 else 0)
    assert below in (above, *(above - step for step in (Fraction(1, 4), Fraction(1, 2), 1, 4)))


@pytest.mark.parametrize("gallons", [0.25, 0.5, 1, 2.5, 5, 15])
def test_whole_gallons_and_quarts_are_marks(gallons: float) -> None:
    """Although a gallon is no whole number of millilitres."""
    volume_ml = ml_from_us_gallons(gallons)
    assert measured_ounces(volume_ml, up=False) == measured_ounces(volume_ml, up=True) == 128 * gallons


@given(stocks, targets, injectors, st.integers(4_000, 60_000))
def test_a_full_jug_is_the_same_mix(stock: Strength, target: Strength, injector: Injector, jug_ml: int) -> None:
    assume(amount_wanted(target, stock) < strength_amount(stock))
    mix = injector_mix(stock, target, injector, 100_000)
    assume(mix.is_reached)
    jug = full_jug(jug_ml, mix.water_parts)
    assert jug.stock_ml + jug.water_ml == jug_ml
    at_surface = strength_amount(stock) * jug.stock_ml / jug_ml * injector.share
    assert at_surface == pytest.approx(amount_wanted(target, stock), rel=0.002, abs=0.06)


@given(stocks, targets, injectors, st.integers(10_000, 1_000_000))
def test_an_injector_never_beats_its_stock(
    stock: Strength, target: Strength, injector: Injector, surface_ml: int
) -> None:
    """Jug and hose add up; the surface is at the target or, where that cannot be, at the strongest, and less."""
    assume(amount_wanted(target, stock) < strength_amount(stock))
    mix = injector_mix(stock, target, injector, surface_ml)
    assert abs(mix.stock_ml + mix.jug_water_ml + mix.hose_water_ml - surface_ml) <= 1
    assert min(mix.stock_ml, mix.jug_water_ml, mix.hose_water_ml, mix.water_parts) >= 0
    if mix.is_reached:
        assert mix.surface_basis_points == target.basis_points <= mix.strongest_basis_points + 1
    else:
        assert mix.surface_basis_points == mix.strongest_basis_points < target.basis_points
        assert mix.jug_water_ml == 0


@given(stocks, st.integers(0, 180), st.integers(0, 180), st.integers(32, 110), st.integers(32, 110))
def test_fading_goes_one_way(stock: Strength, days: int, more: int, cold: int, warm: int) -> None:
    """Older or warmer is never stronger, and nothing gains strength."""
    older = min(180, days + more)
    cold, warm = sorted((cold, warm))
    now = strength_after(stock, days, cold).basis_points
    assert stock.basis_points >= now >= strength_after(stock, older, cold).basis_points >= 1
    assert now >= strength_after(stock, days, warm).basis_points


@given(stocks, st.integers(1, 60), st.integers(1, 60), st.integers(60, 100))
def test_fading_twice_is_fading_once(stock: Strength, first: int, then: int, warm: int) -> None:
    """A strip read on the way that says what was estimated changes nothing (to the hundredth of a percent)."""
    once = strength_after(stock, first + then, warm)
    twice = strength_after(strength_after(stock, first, warm), then, warm)
    assert abs(once.basis_points - twice.basis_points) <= 2


@pytest.mark.parametrize(("days", "storage_f"), [(181, 70), (10, 31), (10, 111), (-1, 70)])
def test_where_nobody_knows(days: int, storage_f: int) -> None:
    with pytest.raises(CannotMix, match="too_old"):
        strength_after(Strength(1250, Basis.TRADE), days, storage_f)


@pytest.mark.parametrize(
    ("basis_points", "basis", "reason"),
    [(0, Basis.TRADE, "out_of_range"), (10_001, Basis.VOLUME, "out_of_range"), (100, "", "no_basis")],
)
def test_no_such_strength(basis_points: int, basis: Basis, reason: str) -> None:
    with pytest.raises(CannotMix, match=reason):
        Strength(basis_points, basis)


@pytest.mark.parametrize(
    ("stock", "target", "reason"),
    [
        (Strength(1250, Basis.HYPOCHLORITE_WEIGHT), Strength(100, Basis.TRADE), "no_gravity"),
        (Strength(1250, Basis.TRADE, 1160), Strength(100, Basis.VOLUME), "other_basis"),
        (Strength(1000, Basis.WEIGHT, 1050), Strength(100, Basis.TRADE), "other_basis"),
        (Strength(1250, Basis.TRADE), Strength(1250, Basis.TRADE), "not_weaker"),
    ],
)
def test_what_cannot_be_mixed(stock: Strength, target: Strength, reason: str) -> None:
    with pytest.raises(CannotMix, match=reason):
        require_weaker(target, stock)


WISH = MixWish(100, Basis.TRADE, "injector", 7_571)


def test_a_plan_says_why_not() -> None:
    """Without stock or without a measured injector nothing is reckoned."""
    stock = Strength(1250, Basis.TRADE, 1160)
    assert mix_plan(WISH, None, Injector(1, 11), 2_400).stop == "no_stock"
    assert mix_plan(WISH, stock, None, 2_400).stop == "no_injector"
    assert mix_plan(WISH, Strength(90, Basis.TRADE), Injector(1, 11), 2_400).stop == "not_weaker"


def test_a_house_of_2400_sqft() -> None:
    """48 gallons at the surface (2 for 100 sq ft) at 1 % take 3.84 gallons of 12.5 % stock; the tank stays empty."""
    plan = mix_plan(WISH, Strength(1250, Basis.TRADE, 1160), Injector(1, 11), 2_400)
    assert (plan.surface_ml, plan.stock_ml) == (181_704, 14_536)
    assert plan.tank_ml == 0


def test_the_tank_carries_what_is_mixed_at_the_yard() -> None:
    wish = MixWish(400, Basis.TRADE, "tank", 3_785)
    plan = mix_plan(wish, Strength(1250, Basis.TRADE), None, 2_000)
    assert plan.tank_ml == plan.surface_ml == 75_700 == plan.stock_ml + plan.water_ml


def test_a_product_used_as_it_is_bought() -> None:
    """100 % of itself is no dilution, and no fault."""
    wish = MixWish(10_000, Basis.VOLUME, "at_house", 100)
    plan = mix_plan(wish, Strength(10_000, Basis.VOLUME), None, 100)
    assert (plan.stop, plan.stock_ml, plan.water_ml) == ("", 100, 0)


@pytest.mark.parametrize(
    ("basis_points", "basis", "words"),
    [
        (1250, "trade", "12.5 % trade"),
        (2_500, "volume", "1 part to 3 parts of water (25 %)"),
        (833, "volume", "1 part to 11 parts of water (8.33 %)"),
        (10_000, "volume", "undiluted"),
    ],
)
def test_a_strength_in_words(basis_points: int, basis: str, words: str) -> None:
    """Never without its basis; a dilution of a product as labels say it."""
    assert strength_words(basis_points, basis) == words


def test_above_a_limit() -> None:
    """1.3 trade percent is 1.35 % of hypochlorite by weight in a thin liquid: above a limit of 1.3."""
    limit = Strength(130, Basis.HYPOCHLORITE_WEIGHT)
    stock = Strength(1250, Basis.TRADE, 1160)
    assert is_above(Strength(130, Basis.TRADE), limit, stock)
    assert is_above(Strength(126, Basis.TRADE), limit, stock)  # 1.302 %: a little above is above
    assert points_on(Strength(126, Basis.TRADE), Basis.HYPOCHLORITE_WEIGHT, stock) == 131
    assert not is_above(Strength(120, Basis.TRADE), limit, stock)
    assert not is_above(Strength(120, Basis.TRADE), limit, None)
    assert not is_above(Strength(9_000, Basis.VOLUME), limit, stock)
