from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.utils.translation import gettext_lazy as _

from jobs.mixing.choices import BasisChoice, ChemistryChoice, Direction, Surface, Way
from pricing.catalogue.models import Service
from shared.events.append_only import AppendOnlyModel

COLDEST_F, WARMEST_F = 32, 130  # where a liquid is kept; less is mostly meant in Celsius
POINTS = [MinValueValidator(1), MaxValueValidator(10_000)]


def _points_constraint(field: str, name: str) -> models.CheckConstraint:
    return models.CheckConstraint(
        condition=models.Q(**{f"{field}__gte": 1, f"{field}__lte": 10_000}),
        name=name,
        violation_error_message=_("A strength is more than 0 and at most 100 %."),
    )


class Product(models.Model):
    """A product of the company, as its label says and the owner wrote down. Nothing here is invented for it."""

    name = models.CharField(max_length=60, unique=True)
    chemistry = models.CharField(max_length=12, choices=ChemistryChoice.choices)
    label_words = models.TextField(blank=True, max_length=1000, help_text=_("What the label says of diluting and use"))
    label_read_on = models.DateField(null=True, blank=True)
    strongest_basis_points = models.PositiveSmallIntegerField(
        null=True, blank=True, validators=POINTS, help_text=_("the strongest use that the label allows, 0.01 %")
    )
    strongest_basis = models.CharField(max_length=20, choices=BasisChoice.choices, blank=True)
    dwell_minutes = models.PositiveSmallIntegerField(null=True, blank=True, help_text=_("by the label"))
    data_sheet = models.CharField(max_length=200, blank=True, help_text=_("Where its safety data sheet is kept"))
    is_corrosive = models.BooleanField(default=False, help_text=_("class 8, packing group II or III"))
    is_active = models.BooleanField(default=True)

    class Meta:
        ordering = ["name", "id"]
        constraints = [
            models.CheckConstraint(condition=~models.Q(name=""), name="product_has_name"),
            models.CheckConstraint(
                condition=models.Q(chemistry__in=ChemistryChoice.values), name="product_chemistry_known"
            ),
            models.CheckConstraint(
                condition=models.Q(strongest_basis_points__isnull=True, strongest_basis="")
                | models.Q(
                    strongest_basis_points__isnull=False,
                    strongest_basis_points__range=(1, 10_000),
                    strongest_basis__in=BasisChoice.values,
                ),
                name="product_strongest_has_basis",
                violation_error_message=_("Say of what the label's strongest use is a percentage."),
            ),
        ]

    def __str__(self) -> str:
        return self.name


class Stock(models.Model):
    """One delivery of a product: how strong it was when it came, of what, how it is kept and in what packages."""

    product = models.ForeignKey(Product, on_delete=models.PROTECT, related_name="stocks")
    received_on = models.DateField()
    basis_points = models.PositiveSmallIntegerField(validators=POINTS, help_text=_("strength when it came, 0.01 %"))
    basis = models.CharField(max_length=20, choices=BasisChoice.choices)
    gravity_thousandths = models.PositiveSmallIntegerField(
        null=True,
        blank=True,
        validators=[MinValueValidator(700), MaxValueValidator(2_000)],
        help_text=_("specific gravity, 1160 = 1.16"),
    )
    storage_f = models.SmallIntegerField(
        default=75,
        validators=[MinValueValidator(COLDEST_F), MaxValueValidator(WARMEST_F)],
        help_text=_("usual temperature where it is kept, F"),
    )
    package_ml = models.PositiveIntegerField()
    packages = models.PositiveSmallIntegerField(default=1)
    note = models.CharField(max_length=200, blank=True)
    used_up_on = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["product", "received_on", "id"]
        constraints = [
            _points_constraint("basis_points", "stock_strength_sensible"),
            models.CheckConstraint(
                condition=models.Q(basis__in=BasisChoice.values),
                name="stock_has_basis",
                violation_error_message=_("Say of what the strength is a percentage."),
            ),
            models.CheckConstraint(condition=models.Q(package_ml__gte=1, packages__gte=1), name="stock_has_packages"),
            models.CheckConstraint(
                condition=models.Q(used_up_on__isnull=True) | models.Q(used_up_on__gte=models.F("received_on")),
                name="stock_days_ordered",
                violation_error_message=_("It cannot be used up before it came."),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.product} of {self.received_on}"


class StripReading(AppendOnlyModel):
    """What a test strip said of a stock on a day. A correction is a new reading."""

    stock = models.ForeignKey(Stock, on_delete=models.PROTECT, related_name="strips")
    read_on = models.DateField()
    basis_points = models.PositiveSmallIntegerField(validators=POINTS)
    basis = models.CharField(max_length=20, choices=BasisChoice.choices)
    read_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["stock", "-read_on", "-id"]
        constraints = [
            _points_constraint("basis_points", "strip_strength_sensible"),
            models.CheckConstraint(condition=models.Q(basis__in=BasisChoice.values), name="strip_has_basis"),
        ]

    def __str__(self) -> str:
        return f"{self.stock_id} {self.read_on}: {self.basis_points}"


class Mix(models.Model):
    """What a service takes: a product, how strong at the surface, and how much of it."""

    service = models.ForeignKey(Service, on_delete=models.CASCADE, related_name="mixes")
    position = models.PositiveSmallIntegerField(default=1, help_text=_("1 is poured first"))
    product = models.ForeignKey(Product, on_delete=models.PROTECT, related_name="mixes")
    target_basis_points = models.PositiveSmallIntegerField(validators=POINTS, help_text=_("at the surface, 0.01 %"))
    target_basis = models.CharField(max_length=20, choices=BasisChoice.choices)
    way = models.CharField(max_length=8, choices=Way.choices)
    surface_ml_per_100_units = models.PositiveIntegerField(help_text=_("liquid that reaches the surface"))
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["service", "position", "id"]
        verbose_name_plural = "mixes"
        constraints = [
            models.UniqueConstraint(fields=["service", "position"], name="mix_position_once"),
            _points_constraint("target_basis_points", "mix_target_sensible"),
            models.CheckConstraint(condition=models.Q(target_basis__in=BasisChoice.values), name="mix_has_basis"),
            models.CheckConstraint(condition=models.Q(way__in=Way.values), name="mix_way_known"),
            models.CheckConstraint(condition=models.Q(surface_ml_per_100_units__gte=1), name="mix_has_volume"),
        ]

    def __str__(self) -> str:
        return f"{self.product} for {self.service}"


class SurfaceLimit(models.Model):
    """The strongest hypochlorite that a surface should see, and on what that stands."""

    surface = models.CharField(max_length=14, choices=Surface.choices, unique=True)
    basis_points = models.PositiveSmallIntegerField(validators=POINTS)
    basis = models.CharField(max_length=20, choices=BasisChoice.choices, default=BasisChoice.HYPOCHLORITE_WEIGHT)
    footing = models.CharField(max_length=300, help_text=_("Who says so"))
    checked_on = models.DateField()

    class Meta:
        ordering = ["surface"]
        constraints = [
            models.CheckConstraint(condition=models.Q(surface__in=Surface.values), name="limit_surface_known"),
            models.CheckConstraint(
                condition=models.Q(basis__in=["trade", "chlorine_weight", "hypochlorite_weight"]),
                name="limit_of_hypochlorite",
            ),
            models.CheckConstraint(
                condition=~models.Q(footing=""),
                name="limit_has_footing",
                violation_error_message=_("Say on what this limit stands."),
            ),
            _points_constraint("basis_points", "limit_sensible"),
        ]

    def __str__(self) -> str:
        return f"{self.surface}: {self.basis_points}"


class WorkOrder(models.Model):
    """The company's way of going over a wall; one row."""

    direction = models.CharField(max_length=9, choices=Direction.choices, default=Direction.BOTTOM_UP)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=models.Q(pk=1), name="work_order_single_row"),
            models.CheckConstraint(
                condition=models.Q(direction__in=Direction.values), name="work_order_direction_known"
            ),
        ]

    def __str__(self) -> str:
        return self.direction
