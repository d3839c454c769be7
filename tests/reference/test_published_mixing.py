"""Strengths, dilutions and fading against published figures. Each figure has its source and how far it was verified:
verified = seen in print, computed = follows from the published formula, from memory, common practice."""

import pytest

from jobs.mixing.domain.fading import strength_after
from jobs.mixing.domain.hauling import load_is_too_heavy, package_is_too_large
from jobs.mixing.domain.mixing import (
    Injector,
    batch_mix,
    injector_mix,
    powder_grams,
    strongest_basis_points,
    water_parts,
)
from jobs.mixing.domain.strength import Basis, CannotMix, Strength, percent_of_amount, strength_amount
from shared.units import ML_PER_US_GALLON, ml_from_us_gallons


def trade(percent: float, gravity: int | None = None) -> Strength:
    return Strength(round(percent * 100), Basis.TRADE, gravity)


@pytest.mark.parametrize(
    ("stock", "target", "parts"),
    [
        # Centers for Disease Control, chlorine solutions, appendix E: worked examples (verified).
        (3.5, 0.5, 6),
        (5.0, 0.1, 49),
        # The same formula, stock / target - 1 (computed).
        (5.25, 0.5, 9.5),
        (12.5, 1, 11.5),
        (12.5, 3, 3.167),
        (12.5, 0.5, 24),
    ],
)
def test_parts_of_water(stock: float, target: float, parts: float) -> None:
    assert water_parts(trade(stock), trade(target)) == pytest.approx(parts, abs=0.001)


def test_powder() -> None:
    """Centers for Disease Control, the same appendix: 0.5 % from a powder of 35 % takes 14.3 g a litre (verified)."""
    assert powder_grams(0.5, 35, 1) == pytest.approx(14.3, abs=0.05)
    with pytest.raises(CannotMix, match="not_weaker"):
        powder_grams(35, 35, 1)


def test_ratio_wording() -> None:
    """5.25 % at "1:10" is 0.53 % where it is read as one in ten (fact sheet, verified): nine parts of water."""
    assert water_parts(trade(5.25), trade(0.53)) == pytest.approx(9, abs=0.1)


@pytest.mark.parametrize("target", [12.5, 13])
def test_no_target_as_strong_as_the_stock(target: float) -> None:
    """Follows from the formula: no water at all would still be too weak."""
    with pytest.raises(CannotMix, match="not_weaker"):
        water_parts(trade(12.5), trade(target))


@pytest.mark.parametrize(("stock", "gallons"), [(12.5, 4.00), (9.7, 5.15)])
def test_fifty_gallons_at_one_percent(stock: float, gallons: float) -> None:
    """C1 V1 = C2 V2 (formula verified, figures computed)."""
    batch = batch_mix(trade(stock), trade(1), ml_from_us_gallons(50))
    assert batch.stock_ml / ML_PER_US_GALLON == pytest.approx(gallons, abs=0.005)
    assert batch.stock_ml + batch.water_ml == ml_from_us_gallons(50)


@pytest.mark.parametrize(
    ("percent", "gravity", "chlorine", "hypochlorite"),
    [(12.5, 1160, 10.78, 11.31), (10, 1140, 8.77, 9.21), (15, 1200, 12.50, 13.125)],
)
def test_strength_terms(percent: float, gravity: int, chlorine: float, hypochlorite: float) -> None:
    """Trade percent, percent by weight of chlorine and of hypochlorite: terms of the Handbook of Chlorination (1972) as
    a supplier's profile quotes them (verified); the third row is printed as 13.13."""
    stock = trade(percent, gravity)
    amount = strength_amount(stock)
    assert percent_of_amount(amount, Basis.CHLORINE_WEIGHT, stock) == pytest.approx(chlorine, abs=0.005)
    assert percent_of_amount(amount, Basis.HYPOCHLORITE_WEIGHT, stock) == pytest.approx(hypochlorite, abs=0.005)


def test_molar_factor() -> None:
    """6 % of hypochlorite by weight is 5.71 % of available chlorine by weight (verified; 74.442 / 70.906)."""
    stock = Strength(600, Basis.HYPOCHLORITE_WEIGHT, 1080)
    assert percent_of_amount(strength_amount(stock), Basis.CHLORINE_WEIGHT, stock) == pytest.approx(5.71, abs=0.01)
    molar = 74.442 / 70.906
    assert molar == pytest.approx(1.05, abs=0.001)


def test_chlorine_in_a_gallon() -> None:
    """12.5 trade percent is 125 g in a litre, 1.043 lb in a US gallon (computed)."""
    assert strength_amount(trade(12.5)) == 125
    pounds = 125 * ML_PER_US_GALLON / 1000 / 453.59237
    assert pounds == pytest.approx(1.043, abs=0.0005)


@pytest.mark.parametrize(("ratio", "percent"), [(10, 1.136), (5, 2.083), (1, 6.25)])
def test_injector_draw(ratio: int, percent: float) -> None:
    """ "10 : 1" is one part in eleven (trade calculators: common practice; computed)."""
    found = strongest_basis_points(trade(12.5), trade(1), Injector(100, 100 * (ratio + 1)))
    assert found / 100 == pytest.approx(percent, abs=0.005)


def test_an_injector_that_cannot() -> None:
    """At 10 : 1 no more than 1.14 % comes from 12.5 %, whatever is asked for."""
    mix = injector_mix(trade(12.5), trade(1.3), Injector(1, 11), 110_000)
    assert (mix.is_reached, mix.strongest_basis_points, mix.surface_basis_points) == (False, 114, 114)
    assert (mix.stock_ml, mix.jug_water_ml, mix.water_parts) == (10_000, 0, 0)


def test_an_injector_with_a_thinner_jug() -> None:
    """One percent at 10 : 1 from 12.5 %: the jug holds 11 %, 8.8 l of stock and 1.2 l of water for 110 l (computed)."""
    mix = injector_mix(trade(12.5), trade(1), Injector(1, 11), 110_000)
    assert mix.is_reached
    assert (mix.stock_ml, mix.jug_water_ml, mix.hose_water_ml) == (8_800, 1_200, 100_000)
    assert mix.water_parts == pytest.approx(12.5 / 11 - 1)


FADED = [(70, 11.11, 9.28), (80, 9.93, 7.48), (90, 8.36, 5.72), (100, 6.68, 4.27)]


@pytest.mark.parametrize(("fahrenheit", "one_month", "three_months"), FADED)
def test_fading(fahrenheit: int, one_month: float, three_months: float) -> None:
    """12.5 trade percent after one and three months (verified as printed; a community's model, no standard)."""
    assert strength_after(trade(12.5), 30, fahrenheit).percent == pytest.approx(one_month, abs=0.005)
    assert strength_after(trade(12.5), 90, fahrenheit).percent == pytest.approx(three_months, abs=0.005)


def test_half_life_in_the_heat() -> None:
    """Near 36 days at 100 F (verified)."""
    assert strength_after(trade(12.5), 36, 100).percent == pytest.approx(6.25, abs=0.2)


def test_ten_degrees_celsius_faster() -> None:
    """18 F more make the rate two to four times as fast (storage guide, verified)."""
    lost = [12.5 / strength_after(trade(12.5), 30, at).percent - 1 for at in (70, 88)]
    assert 2 <= lost[1] / lost[0] <= 4


def test_half_the_strength_fades_at_a_quarter_of_the_rate() -> None:
    """Second order, as the storage guide has it (verified); our curve bends at 30 days, so it is a little less."""
    lost = [trade(percent).percent - strength_after(trade(percent), 10, 70).percent for percent in (12.5, 6.25)]
    assert lost[1] / lost[0] == pytest.approx(0.25, abs=0.05)


@pytest.mark.parametrize(("gallons", "gravity", "too_large"), [(5, 1160, False), (15, 1160, True), (7.5, 1160, True)])
def test_hauling_package(gallons: float, gravity: int, too_large: bool) -> None:
    """49 CFR 173.6(a)(1)(ii): 30 L or 30 kg (verified): a 5-gallon jug rides, a 15-gallon drum does not; 7.5 gallons
    are 28 L and yet 33 kg."""
    assert package_is_too_large(ml_from_us_gallons(gallons), gravity) is too_large


def test_hauling_in_all() -> None:
    """49 CFR 173.6(d): 440 lb, 200 kg (from memory)."""
    jug = (ml_from_us_gallons(5), 1160)
    assert not load_is_too_heavy([jug] * 9)
    assert load_is_too_heavy([jug] * 10)


def test_household_bleach_in_a_gallon() -> None:
    """One quart of 5.25 % in a gallon of mix is 1.31 % (care sheet of a siding maker, seen as a reprint)."""
    assert batch_mix(trade(5.25), trade(1.3125), 4_000).stock_ml == pytest.approx(1_000, abs=2)
