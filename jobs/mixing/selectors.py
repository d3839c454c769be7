"""Products and stocks as they are today, and what a job's lines take."""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import date

from django.db.models import Prefetch, QuerySet, Sum
from django.utils.translation import gettext as _

from jobs.mixing.choices import ChemistryChoice, Direction, Surface, Way
from jobs.mixing.domain.fading import strength_after
from jobs.mixing.domain.hauling import package_is_too_large
from jobs.mixing.domain.mixing import Injector
from jobs.mixing.domain.plan import MixPlan, MixWish, is_above, mix_plan, points_on
from jobs.mixing.domain.strength import CHLORINE, Basis, CannotMix, Strength, strength_amount
from jobs.mixing.models import Mix, Product, Stock, StripReading, SurfaceLimit, WorkOrder
from pricing.catalogue.choices import Unit
from shared.errors import NotFound

TEST_AFTER_DAYS = 14  # an estimate older than this asks for a strip; our choice


@dataclass(frozen=True, slots=True)
class StockNow:
    """How strong a stock is taken to be. `source` is bought, strip or estimated, `as_of` the day it rests on."""

    stock: Stock
    strength: Strength
    source: str
    as_of: date
    age_days: int

    @property
    def wants_strip(self) -> bool:
        return self.source == "estimated" and self.age_days > TEST_AFTER_DAYS


def stock_strength(*, stock: Stock, today: date) -> StockNow:
    """From the newest strip, else from what was bought; a hypochlorite fades from that day on. Raises CannotMix
    (too_old, no_gravity)."""
    strip = next(iter(stock.strips.all()), None)
    begins, as_of = _starting(stock, strip)
    days = max(0, (today - as_of).days)
    if begins.basis not in CHLORINE:
        return StockNow(stock, begins, "strip" if strip else "bought", as_of, days)
    strength_amount(begins)
    now = strength_after(begins, days, stock.storage_f) if days else begins
    return StockNow(stock, now, "strip" if strip else "estimated", as_of, days)


def _starting(stock: Stock, strip: StripReading | None) -> tuple[Strength, date]:
    if strip is None:
        return Strength(stock.basis_points, Basis(stock.basis), stock.gravity_thousandths), stock.received_on
    return Strength(strip.basis_points, Basis(strip.basis), stock.gravity_thousandths), strip.read_on


def is_too_large_to_haul(stock: Stock) -> bool:
    """Whether a package of it is outside the hauling exception for corrosives."""
    return stock.product.is_corrosive and package_is_too_large(stock.package_ml, stock.gravity_thousandths)


def product_list(*, active_only: bool = False) -> QuerySet[Product]:
    """Products with their stocks that are not used up, oldest first, and the strips of those."""
    rows = Product.objects.filter(is_active=True) if active_only else Product.objects.all()
    stocks = Stock.objects.filter(used_up_on__isnull=True).order_by("received_on", "id")
    return rows.prefetch_related(Prefetch("stocks", stocks.prefetch_related("strips")), "mixes__service")


def product_get(*, pk: int) -> Product:
    """Raises NotFound."""
    row = product_list().filter(pk=pk).first()
    if row is None:
        raise NotFound(_("There is no such product."))
    return row


def stock_get(*, pk: int) -> Stock:
    """Raises NotFound."""
    row = Stock.objects.select_related("product").filter(pk=pk).first()
    if row is None:
        raise NotFound(_("There is no such stock."))
    return row


def mix_list() -> QuerySet[Mix]:
    return Mix.objects.select_related("service", "product")


def mix_get(*, pk: int) -> Mix:
    """Raises NotFound."""
    row = mix_list().filter(pk=pk).first()
    if row is None:
        raise NotFound(_("There is no such mix."))
    return row


def limit_list() -> QuerySet[SurfaceLimit]:
    return SurfaceLimit.objects.all()


def direction_now() -> str:
    """The company's way of going over a wall."""
    return WorkOrder.objects.values_list("direction", flat=True).first() or Direction.BOTTOM_UP.value


def tank_ml_per_100_units() -> dict[int, int]:
    """By service, what of its mixes rides in the truck's tank."""
    rows = Mix.objects.filter(way=Way.TANK).order_by().values("service")
    return {row["service"]: row["ml"] for row in rows.annotate(ml=Sum("surface_ml_per_100_units"))}


@dataclass(frozen=True, slots=True)
class Limited:
    """A limit that holds for a surface of a line, and what the mix is to bring there on the limit's basis; None where
    the stock does not say."""

    surface: str
    limit: SurfaceLimit
    wanted_points: int | None
    is_above: bool


@dataclass(frozen=True, slots=True)
class LineMix:
    """One mix of a job line with its figures."""

    mix: Mix
    plan: MixPlan
    stock: StockNow | None
    limits: tuple[Limited, ...]


@dataclass(frozen=True)
class MixBook:
    """Everything that mixes of some services need, read once; then it answers without a query."""

    mixes: Mapping[int, tuple[Mix, ...]]
    stocks: Mapping[int, StockNow | str]
    limits: Mapping[str, SurfaceLimit]

    def line_mixes(
        self, *, service_id: int, quantity: int, surfaces: Collection[str], injector: Injector | None
    ) -> tuple[LineMix, ...]:
        """The mixes of one line in the order in which they are poured."""
        return tuple(self._of(mix, quantity, surfaces, injector) for mix in self.mixes.get(service_id, ()))

    def _of(self, mix: Mix, quantity: int, surfaces: Collection[str], injector: Injector | None) -> LineMix:
        found = self.stocks.get(mix.product_id)
        now = found if isinstance(found, StockNow) else None
        wish = MixWish(mix.target_basis_points, Basis(mix.target_basis), mix.way, mix.surface_ml_per_100_units)
        plan = mix_plan(wish, now.strength if now else None, injector, quantity)
        if isinstance(found, str):
            plan = MixPlan(plan.way, plan.target_basis_points, plan.basis, plan.surface_ml, stop=found)
        return LineMix(mix, plan, now, tuple(self._limits(mix, now, surfaces)))

    def _limits(self, mix: Mix, now: StockNow | None, surfaces: Collection[str]) -> Iterable[Limited]:
        if mix.product.chemistry != ChemistryChoice.HYPOCHLORITE:
            return
        wanted = Strength(mix.target_basis_points, Basis(mix.target_basis))
        for surface in sorted(surfaces):
            found = limited(self.limits, surface, wanted, now.strength if now else None)
            if found is not None:
                yield found


def limited(
    limits: Mapping[str, SurfaceLimit], surface: str, wanted: Strength, stock: Strength | None
) -> Limited | None:
    """The limit that holds for a surface, where there is one: any wall has that of walls, a roof only its own."""
    limit = limits.get(surface) or (limits.get(Surface.WALL) if surface != Surface.ROOF else None)
    if limit is None:
        return None
    most = Strength(limit.basis_points, Basis(limit.basis))
    return Limited(surface, limit, points_on(wanted, most.basis, stock), is_above(wanted, most, stock))


def limits_broken(*, mix: Mix, today: date) -> list[Limited]:
    """The limits of walls, or of roofs, that a mix is above, wherever its service may be done. Elsewhere none holds."""
    is_roof = mix.service.skills.filter(code=Surface.ROOF).exists()
    if not is_roof and mix.service.unit != Unit.WALL_SQFT:
        return []
    book, limits = mix_book(service_ids=[mix.service_id], today=today), limits_by_surface()
    surfaces = [surface for surface in limits if (surface == Surface.ROOF) == is_roof]
    lines = book.line_mixes(service_id=mix.service_id, quantity=100, surfaces=surfaces, injector=None)
    return [limited for line in lines if line.mix.pk == mix.pk for limited in line.limits if limited.is_above]


def limits_by_surface() -> dict[str, SurfaceLimit]:
    return {limit.surface: limit for limit in SurfaceLimit.objects.all()}


def mix_book(*, service_ids: Collection[int], today: date) -> MixBook:
    """Four queries whatever the number of services; the oldest open stock of each product counts."""
    mixes: dict[int, tuple[Mix, ...]] = {}
    for mix in Mix.objects.filter(service__in=service_ids).select_related("product").order_by("position", "id"):
        mixes[mix.service_id] = (*mixes.get(mix.service_id, ()), mix)
    products = {mix.product_id for rows in mixes.values() for mix in rows}
    open_stocks = Stock.objects.filter(product__in=products, used_up_on__isnull=True).select_related("product")
    stocks: dict[int, StockNow | str] = {}
    for stock in open_stocks.order_by("received_on", "id").prefetch_related("strips"):
        if stock.product_id not in stocks:
            stocks[stock.product_id] = stock_now_or_reason(stock=stock, today=today)
    return MixBook(mixes, stocks, limits_by_surface())


def stock_now_or_reason(*, stock: Stock, today: date) -> StockNow | str:
    """The stock's strength today, or the reason why nobody can say."""
    try:
        return stock_strength(stock=stock, today=today)
    except CannotMix as error:
        return error.reason
