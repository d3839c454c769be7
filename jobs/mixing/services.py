"""Products, their stocks, and what each service takes, as the owner writes them down."""

from datetime import date
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from jobs.mixing.choices import Surface
from jobs.mixing.domain.plan import is_above, require_weaker
from jobs.mixing.domain.strength import NEEDS_GRAVITY, Basis, CannotMix, Strength, bases_compare
from jobs.mixing.errors import MixRefused, StillInUse
from jobs.mixing.models import Mix, Product, Stock, StripReading, SurfaceLimit, WorkOrder
from jobs.mixing.selectors import stock_strength
from pricing.catalogue.models import Service
from shared.errors import Refused
from shared.events.services import event_record

PRODUCT_FIELDS = frozenset((
    "name", "chemistry", "label_words", "label_read_on", "strongest_basis_points", "strongest_basis", "dwell_minutes",
    "data_sheet", "is_corrosive", "is_active",
))  # fmt: skip
# Common practice without a source unless the footing says otherwise; the owner edits them.
STARTING_LIMITS = (
    (
        Surface.VINYL,
        130,
        "A siding maker's care sheet, seen as a reprint: one quart of 5.25 % household bleach in a gallon of mix, "
        "1.31 %; stronger may damage the finish",
    ),
    (Surface.WALL, 200, "Trade pages: 0.5 to 2 % at the surface; common practice, no source"),
    (Surface.ROOF, 400, "3 to 4 %, common practice, from memory"),
)


@transaction.atomic
def product_save(*, product: Product | None = None, actor: Any = None, **fields: Any) -> Product:
    """Write down a product, or change the given fields of one. Raises StillInUse where it shall be used no more while a
    service takes it, ValidationError, TypeError for other fields."""
    unknown = fields.keys() - PRODUCT_FIELDS
    if unknown:
        raise TypeError(f"A product has no {', '.join(sorted(unknown))}.")
    row = product or Product()
    is_new = row.pk is None
    if fields.get("is_active") is False and not is_new and row.mixes.exists():
        raise StillInUse(_("A service still takes this product. Change its mix first."))
    for name, value in fields.items():
        setattr(row, name, value)
    row.full_clean()
    row.save()
    event_record(kind="product.written" if is_new else "product.changed", subject=row, actor=actor)
    return row


@transaction.atomic
def stock_receive(
    *,
    product: Product,
    received_on: date,
    basis_points: int,
    basis: str,
    today: date,
    package_ml: int,
    packages: int = 1,
    gravity_thousandths: int | None = None,
    storage_f: int = 75,
    note: str = "",
    actor: Any = None,
) -> Stock:
    """A delivery came. Raises MixRefused for a strength without basis or a basis by weight without gravity, Refused for
    a day to come, ValidationError for other values."""
    if not basis:
        raise MixRefused("no_basis")
    if basis in NEEDS_GRAVITY and gravity_thousandths is None:
        raise MixRefused("no_gravity")
    if received_on > today:
        raise Refused(_("A delivery cannot be of a day that has not come yet."))
    row = Stock(
        product=product, received_on=received_on, basis_points=basis_points, basis=basis, package_ml=package_ml,
        packages=packages, gravity_thousandths=gravity_thousandths, storage_f=storage_f, note=note,
    )  # fmt: skip
    row.full_clean(exclude=["product"])
    row.save()
    event_record(kind="stock.received", subject=row, actor=actor, data={"basis_points": basis_points, "basis": basis})
    return row


@transaction.atomic
def stock_use_up(*, stock: Stock, today: date, actor: Any = None) -> Stock:
    """Nothing is left of it. Again changes nothing."""
    if stock.used_up_on is None:
        stock.used_up_on = today
        stock.full_clean(exclude=["product", "storage_f"])  # rows may be older than the bounds of the warmth
        stock.save()
        event_record(kind="stock.used_up", subject=stock, actor=actor)
    return stock


@transaction.atomic
def strip_record(
    *, stock: Stock, read_on: date, basis_points: int, basis: str, today: date, actor: Any = None
) -> StripReading:
    """Write down what a strip said. Raises MixRefused without basis or with one that says nothing of the stock's,
    Refused for a day before the delivery or after today, ValidationError."""
    if not basis:
        raise MixRefused("no_basis")
    if not stock.received_on <= read_on <= today:
        raise Refused(_("A strip is read between the delivery and today."))
    if not bases_compare(Basis(basis), Basis(stock.basis)):
        raise MixRefused("other_basis")
    row = StripReading(stock=stock, read_on=read_on, basis_points=basis_points, basis=basis, read_by=actor)
    row.full_clean(exclude=["stock", "read_by"])
    row.save()
    event_record(kind="stock.tested", subject=stock, actor=actor, data={"basis_points": basis_points, "basis": basis})
    return row


@transaction.atomic
def mix_set(
    *,
    service: Service,
    position: int,
    product: Product,
    target_basis_points: int,
    target_basis: str,
    way: str,
    surface_ml_per_100_units: int,
    today: date,
    note: str = "",
    actor: Any = None,
) -> Mix:
    """What a service takes in a position; replaces what stood there.

    Raises MixRefused for a target without basis, one that the label does not allow, and one that is not weaker than
    the stock at hand; ValidationError for other values.
    """
    if not target_basis:
        raise MixRefused("no_basis")
    row = Mix.objects.filter(service=service, position=position).first() or Mix(service=service, position=position)
    row.product, row.target_basis_points, row.target_basis = product, target_basis_points, target_basis
    row.way, row.surface_ml_per_100_units, row.note = way, surface_ml_per_100_units, note
    row.full_clean(exclude=["service", "product"])
    _require_mixable(row, today)
    row.save()
    event_record(kind="mix.set", subject=row, actor=actor, data={"service": service.pk, "product": product.pk})
    return row


def _require_mixable(mix: Mix, today: date) -> None:
    target, product = Strength(mix.target_basis_points, Basis(mix.target_basis)), mix.product
    stock = Stock.objects.filter(product=product, used_up_on__isnull=True).first()
    try:
        now = stock_strength(stock=stock, today=today).strength if stock else None
        if product.strongest_basis_points:
            label = Strength(product.strongest_basis_points, Basis(product.strongest_basis))
            if is_above(target, label, now):
                raise MixRefused("above_label")
        if now is not None:
            require_weaker(target, now)
    except CannotMix as error:
        raise MixRefused.of(error) from error


@transaction.atomic
def mix_remove(*, mix: Mix, actor: Any = None) -> None:
    """The service takes it no more; what was poured stays in the record."""
    event_record(
        kind="mix.removed", subject=mix, actor=actor, data={"service": mix.service_id, "product": mix.product_id}
    )
    mix.delete()


@transaction.atomic
def limit_set(
    *, surface: str, basis_points: int, basis: str, footing: str, checked_on: date, actor: Any = None
) -> SurfaceLimit:
    """The strongest hypochlorite for a surface, and on what that stands. Raises ValidationError."""
    row = SurfaceLimit.objects.filter(surface=surface).first() or SurfaceLimit(surface=surface)
    row.basis_points, row.basis, row.footing, row.checked_on = basis_points, basis, footing.strip(), checked_on
    row.full_clean()
    row.save()
    event_record(kind="limit.set", subject=row, actor=actor, data={"surface": surface, "basis_points": basis_points})
    return row


@transaction.atomic
def limits_start(*, today: date, actor: Any = None) -> int:
    """The starting limits, for surfaces that have none; returns how many were added."""
    known = set(SurfaceLimit.objects.values_list("surface", flat=True))
    missing = [limit for limit in STARTING_LIMITS if limit[0].value not in known]
    for surface, basis_points, footing in missing:
        limit_set(
            surface=surface,
            basis_points=basis_points,
            basis=Basis.HYPOCHLORITE_WEIGHT.value,
            footing=footing,
            checked_on=today,
            actor=actor,
        )
    return len(missing)


@transaction.atomic
def direction_set(*, direction: str, actor: Any = None) -> WorkOrder:
    """In which order walls are gone over. Raises ValidationError."""
    row = WorkOrder.objects.filter(pk=1).first() or WorkOrder(pk=1)
    row.direction = direction
    row.full_clean()
    row.save()
    event_record(kind="work_order.set", subject=row, actor=actor, data={"direction": direction})
    return row
