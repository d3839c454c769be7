"""Products, stocks and mixes: what is refused, and what is kept."""

from datetime import date
from typing import Any

import pytest
from django.core.exceptions import ValidationError

from jobs.mixing.domain.mixing import Injector
from jobs.mixing.domain.strength import Basis
from jobs.mixing.errors import MixRefused, StillInUse
from jobs.mixing.models import Mix, Stock, SurfaceLimit
from jobs.mixing.selectors import (
    StockNow,
    direction_now,
    mix_book,
    stock_now_or_reason,
    stock_strength,
    tank_ml_per_100_units,
)
from jobs.mixing.services import (
    direction_set,
    limit_set,
    limits_start,
    mix_set,
    product_save,
    stock_receive,
    stock_use_up,
    strip_record,
)
from shared.errors import Refused
from shared.events.models import Event
from tests import factories

pytestmark = pytest.mark.django_db
TODAY = date(2026, 7, 1)
DELIVERY = {"received_on": TODAY, "basis_points": 1250, "basis": "trade", "today": TODAY, "package_ml": 18_927}


def test_a_product_from_its_label(owner: Any) -> None:
    row = product_save(name="Wall cleaner", chemistry="alkaline", label_words="1 part to 4", actor=owner)
    product_save(product=row, dwell_minutes=3, actor=owner)
    row.refresh_from_db()
    assert (row.label_words, row.dwell_minutes) == ("1 part to 4", 3)
    assert [event.kind for event in Event.objects.order_by("id")] == ["product.written", "product.changed"]


@pytest.mark.parametrize("over", [{"chemistry": "magic"}, {"name": ""}, {"strongest_basis_points": 100}])
def test_no_product_with(over: dict[str, Any]) -> None:
    """A kind that nobody knows, no name, a strongest use of nobody knows what."""
    with pytest.raises(ValidationError):
        product_save(**{"name": "Thing", "chemistry": "acid"} | over)


@pytest.mark.parametrize(
    ("over", "error", "words"),
    [
        ({"basis": ""}, MixRefused, "without its basis"),
        ({"basis": "hypochlorite_weight"}, MixRefused, "needs the specific gravity"),
        ({"received_on": date(2026, 7, 2)}, Refused, "not come yet"),
    ],
)
def test_no_delivery_with(over: dict[str, Any], error: type[Exception], words: str) -> None:
    with pytest.raises(error, match=words):
        stock_receive(product=factories.make_product(), **DELIVERY | over)
    assert not Stock.objects.exists()


def test_a_strip_counts_for_more_than_an_estimate() -> None:
    """Thirty days at 70 F leave 11.11 of 12.5; a strip of 9.7 on that day says otherwise, and fades from there."""
    stock = factories.make_stock(received_on=date(2026, 6, 1), storage_f=70)
    now = stock_strength(stock=stock, today=TODAY)
    assert (now.source, now.strength.basis_points, now.wants_strip) == ("estimated", 1111, True)
    strip_record(stock=stock, read_on=TODAY, basis_points=970, basis="trade", today=TODAY)
    tested = stock_strength(stock=Stock.objects.get(), today=TODAY)
    assert (tested.source, tested.strength.basis_points, tested.wants_strip) == ("strip", 970, False)
    later = stock_strength(stock=Stock.objects.get(), today=date(2026, 8, 1))
    assert 800 < later.strength.basis_points < 970


def test_too_old_to_say() -> None:
    stock = factories.make_stock(received_on=date(2025, 6, 1))
    assert stock_now_or_reason(stock=stock, today=TODAY) == "too_old"
    other = factories.make_stock(
        product=factories.make_product(chemistry="acid"),
        basis="volume",
        basis_points=10_000,
        received_on=date(2024, 1, 1),
    )
    now = stock_now_or_reason(stock=other, today=TODAY)
    assert isinstance(now, StockNow)
    assert now.source == "bought"


@pytest.mark.parametrize(
    ("over", "words"), [({"basis": ""}, "without its basis"), ({"basis": "volume"}, "cannot be compared")]
)
def test_no_strip_with(over: dict[str, Any], words: str) -> None:
    values = {"read_on": TODAY, "basis_points": 900, "basis": "trade", "today": TODAY} | over
    with pytest.raises(MixRefused, match=words):
        strip_record(stock=factories.make_stock(), **values)


def a_mix(**over: Any) -> Mix:
    values = {
        "service": factories.make_service(), "position": 1, "target_basis_points": 100, "target_basis": "trade",
        "way": "injector", "surface_ml_per_100_units": 7_571, "today": TODAY, **over,
    }  # fmt: skip
    values.setdefault("product", factories.make_product())
    return mix_set(**values)


def test_a_target_above_the_stock() -> None:
    """Also where the stock was stronger when it came: what it is today counts."""
    product = factories.make_stock(received_on=date(2026, 4, 1), storage_f=100).product
    with pytest.raises(MixRefused, match="No mix can be stronger than its stock"):
        a_mix(product=product, target_basis_points=600)
    assert not Mix.objects.exists()
    assert a_mix(product=product, target_basis_points=300).pk


def test_a_target_above_the_label() -> None:
    product = factories.make_product(strongest_basis_points=150, strongest_basis="trade")
    with pytest.raises(MixRefused, match="label comes first"):
        a_mix(product=product, target_basis_points=151)
    assert a_mix(product=product, target_basis_points=150).pk


def test_a_target_without_basis() -> None:
    with pytest.raises(MixRefused, match="without its basis"):
        a_mix(target_basis="")


def test_a_position_is_replaced() -> None:
    first = a_mix()
    again = a_mix(service=first.service, product=first.product, target_basis_points=80)
    assert (again.pk, Mix.objects.get().target_basis_points) == (first.pk, 80)


def test_a_product_in_use_stays() -> None:
    mix = a_mix()
    with pytest.raises(StillInUse):
        product_save(product=mix.product, is_active=False)
    other = product_save(product=factories.make_product(), is_active=False)
    assert not other.is_active


def test_limits_have_a_footing() -> None:
    assert limits_start(today=TODAY) == 3
    assert limits_start(today=TODAY) == 0
    assert all(SurfaceLimit.objects.values_list("footing", flat=True))
    with pytest.raises(ValidationError):
        limit_set(surface="brick", basis_points=200, basis="trade", footing=" ", checked_on=TODAY)


def test_what_was_kept_too_cold_can_be_used_up() -> None:
    """A row from before the bounds of the temperature."""
    stock = factories.make_stock(storage_f=0)
    assert stock_use_up(stock=stock, today=TODAY).used_up_on == TODAY


def test_the_way_over_a_wall() -> None:
    assert direction_now() == "bottom_up"
    direction_set(direction="top_down")
    assert direction_now() == "top_down"
    with pytest.raises(ValidationError):
        direction_set(direction="sideways")


def test_the_book_uses_the_oldest_stock_that_is_left(django_assert_num_queries: Any) -> None:
    """Four queries for any number of services; warned of age, and of a limit with its footing."""
    limits_start(today=TODAY)
    product = factories.make_product()
    old = factories.make_stock(product=product, received_on=date(2026, 6, 1))
    factories.make_stock(product=product, received_on=date(2026, 6, 20))
    mixes = [factories.make_mix(product=product, target_basis_points=points) for points in (100, 180)]
    with django_assert_num_queries(4):
        book = mix_book(service_ids=[mix.service_id for mix in mixes], today=TODAY)
        weak, strong = (
            book.line_mixes(service_id=mix.service_id, quantity=2_400, surfaces={"vinyl"}, injector=None)[0]
            for mix in mixes
        )
    assert weak.stock is not None
    assert weak.stock.stock == old
    assert weak.stock.wants_strip
    assert [(limited.surface, limited.is_above) for limited in weak.limits] == [("vinyl", False)]
    assert [(limited.wanted_points, limited.is_above) for limited in strong.limits] == [(185, True)]  # 1.8 % trade
    stock_use_up(stock=old, today=TODAY)
    assert mix_book(service_ids=[mixes[0].service_id], today=TODAY).stocks[product.pk].stock != old  # type: ignore[union-attr]


def test_a_target_that_no_liquid_has() -> None:
    """Set before any stock was written down: the sheet still comes, and says that it is above the limit."""
    limit_set(surface="vinyl", basis_points=200, basis="trade", footing="our own", checked_on=TODAY)
    product = factories.make_product()
    mix = a_mix(product=product, target_basis_points=10_000, target_basis="hypochlorite_weight")
    factories.make_stock(product=product, received_on=TODAY)
    book = mix_book(service_ids=[mix.service_id], today=TODAY)
    (line,) = book.line_mixes(service_id=mix.service_id, quantity=100, surfaces={"vinyl"}, injector=Injector(1, 11))
    assert line.plan.stop == "not_weaker"
    assert [(limited.wanted_points, limited.is_above) for limited in line.limits] == [(None, True)]


def test_only_the_tank_is_carried() -> None:
    service = factories.make_service()
    factories.make_mix(service=service, way="tank", surface_ml_per_100_units=1_000)
    factories.make_mix(service=service, way="tank", position=2, surface_ml_per_100_units=500)
    factories.make_mix(service=service, way="at_house", position=3)
    assert tank_ml_per_100_units() == {service.pk: 1_500}


def test_bases_are_the_same_words() -> None:
    from jobs.mixing.choices import BasisChoice

    assert set(BasisChoice.values) == {basis.value for basis in Basis}
