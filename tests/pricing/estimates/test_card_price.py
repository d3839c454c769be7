"""What a card asks: factors, surcharges, materials, taxes; to the cent, and explained."""

from dataclasses import replace
from datetime import date, timedelta
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pricing.catalogue.domain import (
    Access,
    Circumstances,
    FactorKind,
    MaterialTerms,
    MinutesFactor,
    RateTerms,
    SurchargeKind,
    SurchargeTerms,
    SurchargeWhen,
)
from pricing.catalogue.models import MaterialUse, Rate, RateFactor, Surcharge, TaxRate
from pricing.catalogue.selectors import tax_on
from pricing.catalogue.services import tax_set
from pricing.estimates.domain.card import card_price, line_materials_cents, line_minutes, line_price_cents
from pricing.estimates.selectors import estimate_get
from shared.errors import Refused
from tests import factories

WASH = RateTerms("house_wash", "House wash", "wall_sqft", 26_00, 250_00, 20, 20, 1600, 1200)
TODAY = factories.MOMENT.date()
AMOUNT = st.builds(SurchargeTerms, st.text(max_size=5), st.just(SurchargeKind.FIXED), st.integers(0, 500_00))
PERCENT = st.builds(SurchargeTerms, st.text(max_size=5), st.just(SurchargeKind.PERCENT), st.integers(0, 300))


@given(st.integers(1, 50_000), st.lists(AMOUNT | PERCENT, max_size=5), st.booleans())
def test_the_parts_of_a_price_add_up_either_way_round(quantity, surcharges, is_addition) -> None:
    """The base is what stood there without surcharges, each adds its own, and order plays no part."""
    rate = replace(WASH, surcharges=tuple(surcharges))
    price = card_price(rate, quantity, Circumstances(), is_addition=is_addition)
    assert price.total_cents == price.base_cents + sum(cents for _each, cents in price.surcharges)
    if not is_addition:
        assert price.base_cents == line_price_cents(rate, quantity)
        assert len(price.surcharges) == len(surcharges)
    turned = card_price(
        replace(rate, surcharges=tuple(surcharges[::-1])), quantity, Circumstances(), is_addition=is_addition
    )
    assert turned.total_cents == price.total_cents
    for each, cents in price.surcharges:
        exact = each.figure if each.kind == SurchargeKind.FIXED else Fraction(price.base_cents * each.figure, 100)
        assert abs(cents - exact) <= Fraction(1, 2)


@pytest.mark.parametrize(
    ("when", "level", "met", "unmet"),
    [
        (SurchargeWhen.STOREYS, "3", Circumstances(storeys=3), Circumstances(storeys=2)),
        (SurchargeWhen.ACCESS, "tight", Circumstances(access=Access.TIGHT), Circumstances()),
        (SurchargeWhen.CHALK, "4", Circumstances(chalk_reading=4.5), Circumstances(chalk_reading=None)),
        (SurchargeWhen.MATERIAL, "wood", Circumstances(material="wood"), Circumstances(material="vinyl")),
        (SurchargeWhen.DRIVING, "40", Circumstances(drive_minutes=40), Circumstances(drive_minutes=39)),
    ],
)
def test_when_a_surcharge_applies(when, level, met, unmet) -> None:
    """At its level and beyond, and not where nobody knows."""
    surcharge = SurchargeTerms("x", SurchargeKind.FIXED, 40_00, when, level)
    assert surcharge.applies(met)
    assert not surcharge.applies(unmet)


def test_amounts_are_charged_once_and_percentages_on_additions_too() -> None:
    """100 sq ft as an addition: $26 without the least charge, 10 % on it, no amount."""
    surcharges = (SurchargeTerms("a", SurchargeKind.FIXED, 40_00), SurchargeTerms("b", SurchargeKind.PERCENT, 10))
    rate = replace(WASH, surcharges=surcharges)
    assert card_price(rate, 100, Circumstances()).total_cents == 250_00 + 40_00 + 25_00
    assert card_price(rate, 100, Circumstances(), is_addition=True).total_cents == 26_00 + 2_60


def test_factors_slow_the_work_and_not_the_set_up() -> None:
    """2,400 sq ft at 1,200 an hour are 120 minutes; at 125 % 150, and 20 of set-up."""
    slow = replace(WASH, factors=(MinutesFactor(FactorKind.STOREYS, "3", 125),))
    assert (line_minutes(slow, 2400, 2), line_minutes(slow, 2400, 3)) == (140, 170)


@given(st.integers(1, 100_000), st.lists(st.tuples(st.integers(0, 20_000), st.integers(0, 100_00)), max_size=4))
def test_materials_are_rounded_once(quantity, uses) -> None:
    """Half a cent at most from the exact cost, however many materials there are."""
    rate = replace(WASH, materials=tuple(MaterialTerms("m", ml, cents) for ml, cents in uses))
    gallons = sum(Fraction(ml * cents) / Fraction("3785.411784") for ml, cents in uses)  # US gallon: 231 cubic inches
    exact = (20 + gallons) * Fraction(quantity, 100)
    assert abs(line_materials_cents(rate, quantity) - exact) <= Fraction(1, 2)


@pytest.mark.django_db
def test_an_estimate_uses_all_of_it_and_explains_it() -> None:
    """2,000 sq ft of two storeys: $520, tight alleys aside; 10 % on it; materials named; the card's day kept."""
    card = factories.make_card()
    Surcharge.objects.create(card=card, name="Tall house", kind="percent", figure=10, when="storeys", level="2")
    wash = estimate_get(pk=factories.make_estimate().pk).lines.first()
    assert (wash.card_price_cents, wash.materials_cents) == (572_00, 24_08)
    assert wash.card_why == [
        "Card price: 2,000 at $26.00 per 100 is $520.00.",
        "Surcharge Tall house, 10%: $52.00.",
        "Materials: Hypochlorite stock 3.7 gal, Surfactant 27 fl oz and small things, $24.08.",
    ]
    assert wash.estimate.card_from == card.effective_from


@pytest.mark.django_db
def test_a_changed_card_touches_no_estimate_that_was_sent() -> None:
    """Prices, factors, materials, surcharges and taxes: lines and prints stay as they were."""
    estimate = factories.make_estimate(sent=True)
    before = [list(estimate.lines.values()), list(estimate.sendings.values("figures", "prints__html"))]
    Rate.objects.update(price_cents_per_100_units=1, setup_minutes=99)
    RateFactor.objects.update(percent=300)
    MaterialUse.objects.update(volume_ml_per_100_units=9_000)
    Surcharge.objects.create(card=Rate.objects.first().card, name="x", kind="fixed", figure=90_00, when="always")
    TaxRate.objects.create(name="Sales tax", effective_from=date(2020, 1, 1), rate_millionths=80_000)
    estimate.refresh_from_db()
    assert [list(estimate.lines.values()), list(estimate.sendings.values("figures", "prints__html"))] == before
    assert estimate.tax_millionths is None


@pytest.mark.django_db
def test_taxes_by_date_add_up_and_end() -> None:
    """State and county together from their days on; 0 ends one; nothing entered is None, not 0."""
    later, end = TODAY + timedelta(days=10), TODAY + timedelta(days=20)
    for name, day, rate in (("State", TODAY, 60_000), ("County", later, 12_500), ("State", end, 0)):
        tax_set(name=name, effective_from=day, rate_millionths=rate, today=TODAY, actor=None)
    days = (TODAY - timedelta(days=1), TODAY, later, end)
    assert [tax_on(on=day) for day in days] == [None, 60_000, 72_500, 12_500]


@pytest.mark.django_db
@pytest.mark.parametrize(("name", "days", "rate"), [("", 0, 1), ("County", -1, 1), ("County", 0, 940_000)])
def test_taxes_that_cannot_be_are_refused(name, days, rate) -> None:
    """No name, a past day, 100 percent and more together: nothing is stored."""
    tax_set(name="State", effective_from=TODAY, rate_millionths=60_000, today=TODAY, actor=None)
    with pytest.raises(Refused):
        tax_set(name=name, effective_from=TODAY + timedelta(days=days), rate_millionths=rate, today=TODAY, actor=None)
    assert TaxRate.objects.count() == 1
