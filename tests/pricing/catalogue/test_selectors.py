"""The card and the target in force on a day."""

from datetime import date, timedelta

import pytest

from pricing.catalogue.models import HourlyTarget, Rate, RateCard
from pricing.catalogue.selectors import NoTargetYet, rate_card_on, rate_terms, target_on
from tests.factories import make_service

pytestmark = pytest.mark.django_db
SPRING, SUMMER = date(2026, 3, 1), date(2026, 6, 1)


def make_rate(card, service, price):
    return Rate.objects.create(
        card=card,
        service=service,
        price_cents_per_100_units=price,
        units_per_crew_hour=1600,
        units_per_crew_hour_high=1200,
    )


def test_the_latest_card_not_after_the_day_is_in_force():
    """Spring's card holds until the day before summer's."""
    wash = make_service(code="house_wash")
    for day, price in ((SPRING, 24_00), (SUMMER, 26_00)):
        make_rate(RateCard.objects.create(effective_from=day), wash, price)
    prices = [
        rate_terms(on=day)["house_wash"].price_cents_per_100_units
        for day in (SPRING, SUMMER - timedelta(days=1), SUMMER, SUMMER + timedelta(days=400))
    ]
    assert prices == [24_00, 24_00, 26_00, 26_00]


def test_before_the_first_card_there_are_no_terms():
    """No card, no prices."""
    make_rate(RateCard.objects.create(effective_from=SPRING), make_service(), 24_00)
    assert rate_card_on(on=SPRING - timedelta(days=1)) is None
    assert rate_terms(on=SPRING - timedelta(days=1)) == {}


def test_terms_take_five_queries(django_assert_num_queries):
    """The card, all its rates with their services, and what belongs to them."""
    card = RateCard.objects.create(effective_from=SPRING)
    for _ in range(4):
        make_rate(card, make_service(), 20_00)
    with django_assert_num_queries(5):
        assert len(rate_terms(on=SUMMER)) == 4


def test_the_target_in_force_has_its_reserve():
    """A day before the first target has none, and says how to get one."""
    HourlyTarget.objects.create(
        effective_from=SPRING, target_cents_per_crew_hour=175_00, reserve_cents_per_crew_hour=110_00
    )
    HourlyTarget.objects.create(
        effective_from=SUMMER, target_cents_per_crew_hour=190_00, reserve_cents_per_crew_hour=120_00
    )
    assert target_on(on=SUMMER - timedelta(days=1)).target_cents_per_crew_hour == 175_00
    assert target_on(on=SUMMER).reserve_cents_per_crew_hour == 120_00
    with pytest.raises(NoTargetYet, match="rates page"):
        target_on(on=SPRING - timedelta(days=1))
