"""What is left of each product, and whether it is enough: reckoned, not measured.

At hand is what came in the deliveries that nobody marked as used up, less what the jobs done since then take by their
mixes. Crews pour the oldest delivery first, so what was done before the last one was used up counts to that one.
Spilt and wasted stock is not known, and mixes may have changed: whoever doubts the figure counts the jugs, marks the
delivery as used up and writes down what is left as a new one.
"""

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import date

from django.db.models import Max, Sum
from django.utils.translation import gettext as _

from jobs.mixing.domain.plan import MixWish, mix_plan
from jobs.mixing.domain.strength import Basis
from jobs.mixing.models import Mix, Product, Stock
from jobs.mixing.selectors import MixBook, StockNow, mix_book
from jobs.work.models import VisitLine
from shared.web.words import volume_words


@dataclass(frozen=True, slots=True)
class AtHand:
    """One product with an open delivery. `since` is the day from which jobs done count."""

    product: Product
    delivered_ml: int
    used_ml: int
    since: date

    @property
    def left_ml(self) -> int:
        return max(0, self.delivered_ml - self.used_ml)

    @property
    def is_overdrawn(self) -> bool:
        """More was reckoned as used than ever came: count the jugs."""
        return self.used_ml > self.delivered_ml


@dataclass(frozen=True, slots=True)
class Need:
    """What some work takes of a product, beside what is at hand."""

    at_hand: AtHand
    needed_ml: int

    @property
    def is_short(self) -> bool:
        return self.needed_ml > self.at_hand.left_ml

    @property
    def words(self) -> str:
        """For a day's page: `The day needs 31.0 gal of Stock bleach, 24.0 gal at hand as reckoned. Count the jugs.`"""
        words = _("The day needs %(needed)s of %(product)s, %(left)s at hand as reckoned. Count the jugs.")
        return words % {
            "needed": volume_words(self.needed_ml),
            "product": self.at_hand.product.name,
            "left": volume_words(self.at_hand.left_ml),
        }


def stock_at_hand(*, today: date) -> tuple[AtHand, ...]:
    """Every product with an open delivery, by name; the number of queries does not depend on the products."""
    return _at_hand(_book(today))


def stock_needs(*, quantities: Collection[tuple[int, int]], today: date) -> tuple[Need, ...]:
    """What work takes of each product of which a delivery is open, by name. `quantities` are of (service id, units)."""
    if not quantities:
        return ()
    book = _book(today)
    needed = _stock_of(book, quantities)
    return tuple(Need(row, needed[row.product.pk]) for row in _at_hand(book) if needed.get(row.product.pk))


def _book(today: date) -> MixBook:
    return mix_book(service_ids=set(Mix.objects.order_by().values_list("service", flat=True)), today=today)


def _at_hand(book: MixBook) -> tuple[AtHand, ...]:
    opened = list(Stock.objects.filter(used_up_on__isnull=True).select_related("product").order_by("received_on"))
    since = _since(opened)
    used = _used(book, since)
    delivered: dict[int, int] = {}
    for stock in opened:
        delivered[stock.product_id] = delivered.get(stock.product_id, 0) + stock.package_ml * stock.packages
    products = sorted({stock.product for stock in opened}, key=lambda product: (product.name, product.pk))
    return tuple(AtHand(row, delivered[row.pk], used.get(row.pk, 0), since[row.pk]) for row in products)


def _since(opened: Iterable[Stock]) -> dict[int, date]:
    """By product: when its oldest open delivery came, or the one before it was used up, whichever was later."""
    found: dict[int, date] = {}
    for stock in opened:
        found.setdefault(stock.product_id, stock.received_on)
    closed = Stock.objects.filter(product__in=found, used_up_on__isnull=False).order_by()
    for product_id, day in closed.values_list("product").annotate(last=Max("used_up_on")):
        found[product_id] = max(found[product_id], day)
    return found


def _used(book: MixBook, since: dict[int, date]) -> dict[int, int]:
    """By product, what the jobs done since its day take by today's mixes and strength."""
    if not since:
        return {}
    done = VisitLine.objects.filter(
        visit__work_date__gte=min(since.values()), visit__corrections__isnull=True, service__in=list(book.mixes)
    )
    found: dict[int, int] = {}
    rows = done.order_by().values_list("service", "visit__work_date").annotate(units=Sum("job_line__quantity"))
    for service_id, day, units in rows:
        for product_id, stock_ml in _stock_of(book, [(service_id, units or 0)]).items():
            if product_id in since and day >= since[product_id]:
                found[product_id] = found.get(product_id, 0) + stock_ml
    return found


def _stock_of(book: MixBook, quantities: Iterable[tuple[int, int]]) -> dict[int, int]:
    """Stock by product; what cannot be mixed takes none. Through an injector goes as much stock as without one."""
    found: dict[int, int] = {}
    for service_id, units in quantities:
        for mix in book.mixes.get(service_id, ()):
            now = book.stocks.get(mix.product_id)
            if isinstance(now, StockNow):
                found[mix.product_id] = found.get(mix.product_id, 0) + _stock_ml(mix, now, units)
    return found


def _stock_ml(mix: Mix, now: StockNow, units: int) -> int:
    wish = MixWish(mix.target_basis_points, Basis(mix.target_basis), "at_house", mix.surface_ml_per_100_units)
    return mix_plan(wish, now.strength, None, units).stock_ml
