"""What is left of a product: deliveries less what the jobs done since take."""

from datetime import date
from typing import Any

import pytest
import time_machine
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from jobs.mixing.at_hand import AtHand, stock_at_hand, stock_needs
from jobs.mixing.models import Stock
from jobs.work.models import JobLine
from jobs.work.services import visit_correct
from tests import factories

pytestmark = pytest.mark.django_db
TODAY = date(2026, 6, 1)
JUG_ML = 18_927


@pytest.fixture
def bleach() -> Any:
    """12.5 trade percent, four jugs that came today, so that a strength of 12.5 % holds."""
    product = factories.make_product(name="Stock bleach")
    factories.make_stock(product=product, received_on=TODAY)
    return product


@pytest.fixture
def wash(bleach: Any) -> Any:
    """1 % at the surface, 7.571 L for 100 units: 605.68 ml of stock."""
    service = factories.make_service(code="wash")
    factories.make_mix(service=service, product=bleach)
    return service


def done(service: Any, day: date, quantity: int = 100) -> Any:
    visit = factories.make_visit_of(service, factories.make_property(), day)
    JobLine.objects.filter(job=visit.job).update(quantity=quantity)
    return visit


def only() -> AtHand:
    (row,) = stock_at_hand(today=TODAY)
    return row


def test_what_came_less_what_was_done(wash: Any) -> None:
    """Jobs of the day of the delivery count; those before it do not."""
    assert (only().delivered_ml, only().used_ml, only().since) == (4 * JUG_ML, 0, TODAY)
    done(wash, TODAY, quantity=200)
    done(wash, date(2026, 5, 31), quantity=9_000)
    done(factories.make_service(), TODAY)
    assert only().used_ml == 1_211
    assert only().left_ml == 4 * JUG_ML - 1_211


def test_the_older_delivery_is_poured_first(wash: Any, bleach: Any) -> None:
    """What was done before it was used up counts to that one."""
    Stock.objects.all().delete()
    factories.make_stock(product=bleach, received_on=date(2026, 5, 1), used_up_on=date(2026, 5, 20))
    factories.make_stock(product=bleach, received_on=date(2026, 5, 10), packages=1)
    done(wash, date(2026, 5, 15), quantity=5_000)
    done(wash, date(2026, 5, 21))
    assert (only().since, only().delivered_ml) == (date(2026, 5, 20), JUG_ML)
    assert 600 < only().used_ml < 800


def test_two_open_deliveries_add_up(wash: Any, bleach: Any) -> None:
    factories.make_stock(product=bleach, received_on=TODAY, packages=1)
    assert only().delivered_ml == 5 * JUG_ML


def test_more_used_than_came(wash: Any) -> None:
    """Nothing is left, and it says that the figure says nothing."""
    done(wash, TODAY, quantity=100_000)
    assert (only().left_ml, only().is_overdrawn) == (0, True)


def test_a_corrected_visit_counts_once(wash: Any) -> None:
    visit = done(wash, TODAY, quantity=200)
    visit_correct(visit=visit, on_site_minutes=70, reason="clock", actor=None)
    assert only().used_ml == 1_211


def test_needs(wash: Any, bleach: Any) -> None:
    """In words only where it is short; a product without a delivery is not reckoned, the mix sheet says why."""
    factories.make_mix(service=wash, position=2, product=factories.make_product(), target_basis="volume")
    (enough,) = stock_needs(quantities=[(wash.pk, 2_000), (wash.pk, 400)], today=TODAY)
    assert (enough.needed_ml, enough.is_short) == (14_535, False)
    (short,) = stock_needs(quantities=[(wash.pk, 20_000)], today=TODAY)
    assert short.is_short
    assert short.words == ("The day needs 32.0 gal of Stock bleach, 20.0 gal at hand as reckoned. Count the jugs.")
    assert stock_needs(quantities=[], today=TODAY) == ()
    assert stock_needs(quantities=[(factories.make_service().pk, 100)], today=TODAY) == ()


@settings(max_examples=20, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.integers(0, 5_000), max_size=5), st.lists(st.integers(0, 5_000), max_size=5))
def test_more_work_never_needs_less(wash: Any, some: list[int], more: list[int]) -> None:
    def needed(units: list[int]) -> int:
        return sum(need.needed_ml for need in stock_needs(quantities=[(wash.pk, unit) for unit in units], today=TODAY))

    assert needed(some + more) == needed(some) + needed(more)
    assert needed([*some, 100]) > needed(some)


def test_on_the_page_and_for_programs(client_of: Any, office: Any, crew_lead: Any, wash: Any) -> None:
    """The same figures; not for crews."""
    with time_machine.travel("2026-06-01T15:00:00Z", tick=False):
        done(wash, TODAY, quantity=200)
        client = client_of(office)
        assert "19.7 gal of 20.0 gal" in client.get("/mixes/").content.decode()
        (row,) = client.get("/api/stock-at-hand/").json()
        assert (row["name"], row["left_ml"], row["since"]) == ("Stock bleach", 4 * JUG_ML - 1_211, "2026-06-01")
        assert client_of(crew_lead).get("/api/stock-at-hand/").status_code == 403


def test_queries_do_not_grow(wash: Any, django_assert_max_num_queries: Any) -> None:
    for _number in range(5):
        product = factories.make_product()
        factories.make_stock(product=product)
        factories.make_mix(product=product)
    with django_assert_max_num_queries(9):
        assert len(stock_at_hand(today=TODAY)) == 6
