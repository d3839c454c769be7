from django.db import models
from django.utils.translation import gettext_lazy as _

from pricing.catalogue.choices import FactorOf, SurchargeIs, SurchargeOn, Unit


class Skill(models.Model):
    """What a crew must be able or equipped to do, such as working on a roof."""

    code = models.SlugField(max_length=30, unique=True)
    name = models.CharField(max_length=60)

    class Meta:
        ordering = ["code"]

    def __str__(self) -> str:
        return self.name


class Service(models.Model):
    """A kind of work that the company sells, such as a house wash or chalk removal."""

    code = models.SlugField(max_length=30, unique=True)
    name = models.CharField(max_length=60)
    name_es = models.CharField(max_length=60, blank=True)
    unit = models.CharField(max_length=10, choices=Unit.choices)
    skills = models.ManyToManyField(Skill, blank=True, related_name="services")
    interval_months = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text=_("How often it usually recurs; empty: it does not")
    )
    removes_chalk = models.BooleanField(default=False)
    needs_walkthrough = models.BooleanField(
        default=True, help_text=_("The walls are looked at, and what is found is shown, before the work starts")
    )
    cautions = models.TextField(blank=True, help_text=_("One caution a line, printed on the route sheet"))
    is_offered = models.BooleanField(default=True)

    class Meta:
        ordering = ["name", "id"]
        constraints = [
            models.CheckConstraint(condition=models.Q(unit__in=Unit.values), name="service_unit_known"),
            models.CheckConstraint(
                condition=models.Q(interval_months__isnull=True) | models.Q(interval_months__gte=1),
                name="service_interval_positive",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class RateCard(models.Model):
    """Prices and production rates in force from a date on. A newer card never touches what was agreed.

    A draft is the next version while it is written; it is in force on no day, and there is one at most. Once put in
    force a card stays as it is; one that has not begun may be withdrawn, and is kept as what was once meant.
    """

    effective_from = models.DateField()
    note = models.CharField(max_length=200, blank=True)
    is_draft = models.BooleanField(default=False)
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["-effective_from", "-id"]
        constraints = [
            models.UniqueConstraint(
                fields=["effective_from"],
                condition=models.Q(is_draft=False, withdrawn_at__isnull=True),
                name="rate_card_once_a_day",
            ),
            models.UniqueConstraint(fields=["is_draft"], condition=models.Q(is_draft=True), name="rate_card_one_draft"),
        ]

    def __str__(self) -> str:
        if self.is_draft:
            return "Draft of the next rate card"
        return f"Rate card from {self.effective_from}"


class Rate(models.Model):
    """One service on a rate card."""

    card = models.ForeignKey(RateCard, on_delete=models.CASCADE, related_name="rates")
    service = models.ForeignKey(Service, on_delete=models.PROTECT, related_name="rates")
    price_cents_per_100_units = models.PositiveIntegerField()
    minimum_price_cents = models.PositiveIntegerField(default=0)
    materials_cents_per_100_units = models.PositiveIntegerField(default=0)
    setup_minutes = models.PositiveSmallIntegerField(default=0)
    units_per_crew_hour = models.PositiveIntegerField(help_text=_("Two-person crew, one storey"))
    units_per_crew_hour_high = models.PositiveIntegerField(help_text=_("Two-person crew, two storeys or more"))

    class Meta:
        ordering = ["card", "service", "id"]
        constraints = [
            models.UniqueConstraint(fields=["card", "service"], name="rate_once_per_card"),
            models.CheckConstraint(
                condition=models.Q(units_per_crew_hour__gte=1, units_per_crew_hour_high__gte=1),
                name="rate_production_positive",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.service} ({self.card})"


class RateFactor(models.Model):
    """The work of a rate takes so many percent of its usual minutes at a level of storeys, access, soil, chalk or
    material; 100 where there is no row."""

    rate = models.ForeignKey(Rate, on_delete=models.CASCADE, related_name="factors")
    kind = models.CharField(max_length=8, choices=FactorOf.choices)
    level = models.CharField(max_length=20)
    percent = models.PositiveSmallIntegerField()

    class Meta:
        ordering = ["rate", "kind", "level"]
        constraints = [
            models.UniqueConstraint(fields=["rate", "kind", "level"], name="rate_factor_once"),
            models.CheckConstraint(condition=models.Q(kind__in=FactorOf.values), name="rate_factor_kind_known"),
            models.CheckConstraint(condition=models.Q(percent__gte=10, percent__lte=1000), name="rate_factor_bounds"),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.level}: {self.percent} %"


class CardMaterial(models.Model):
    """A material as bought, with its cost on a rate card."""

    card = models.ForeignKey(RateCard, on_delete=models.CASCADE, related_name="materials")
    name = models.CharField(max_length=60)
    cost_cents_per_gallon = models.PositiveIntegerField()

    class Meta:
        ordering = ["card", "name"]
        constraints = [models.UniqueConstraint(fields=["card", "name"], name="card_material_once")]

    def __str__(self) -> str:
        return self.name


class MaterialUse(models.Model):
    """How much of a material a service takes for 100 of its units."""

    rate = models.ForeignKey(Rate, on_delete=models.CASCADE, related_name="uses")
    material = models.ForeignKey(CardMaterial, on_delete=models.CASCADE, related_name="uses")
    volume_ml_per_100_units = models.PositiveIntegerField()

    class Meta:
        ordering = ["rate", "material"]
        constraints = [models.UniqueConstraint(fields=["rate", "material"], name="material_use_once")]

    def __str__(self) -> str:
        return f"{self.material}: {self.volume_ml_per_100_units} ml per 100"


class Surcharge(models.Model):
    """What comes on top of a card's price under a condition; without a service for every service."""

    card = models.ForeignKey(RateCard, on_delete=models.CASCADE, related_name="surcharges")
    service = models.ForeignKey(Service, null=True, blank=True, on_delete=models.PROTECT, related_name="surcharges")
    name = models.CharField(max_length=60)
    kind = models.CharField(max_length=7, choices=SurchargeIs.choices)
    figure = models.PositiveIntegerField(help_text=_("Cents, or whole percent"))
    when = models.CharField(max_length=8, choices=SurchargeOn.choices, default=SurchargeOn.ALWAYS)
    level = models.CharField(max_length=20, blank=True)

    class Meta:
        ordering = ["card", "name", "id"]
        constraints = [
            models.UniqueConstraint(fields=["card", "name"], name="surcharge_name_once"),
            models.CheckConstraint(condition=models.Q(kind__in=SurchargeIs.values), name="surcharge_kind_known"),
            models.CheckConstraint(condition=models.Q(when__in=SurchargeOn.values), name="surcharge_when_known"),
        ]

    def __str__(self) -> str:
        return self.name


class TaxRate(models.Model):
    """A tax that the owner entered, from a day on; nothing is assumed. 0 from a day on ends it."""

    name = models.CharField(max_length=60)
    effective_from = models.DateField()
    rate_millionths = models.PositiveIntegerField(help_text=_("88750 is 8.875 %"))

    class Meta:
        ordering = ["-effective_from", "name"]
        constraints = [
            models.UniqueConstraint(fields=["name", "effective_from"], name="tax_rate_once_a_day"),
            models.CheckConstraint(condition=models.Q(rate_millionths__lt=1_000_000), name="tax_rate_below_all"),
        ]

    def __str__(self) -> str:
        return f"{self.name} from {self.effective_from}"


class HourlyTarget(models.Model):
    """What a two-person crew's hour should earn, and the least that it must bring in, from a date on."""

    effective_from = models.DateField(unique=True)
    target_cents_per_crew_hour = models.PositiveIntegerField()
    reserve_cents_per_crew_hour = models.PositiveIntegerField(default=0)

    class Meta:
        ordering = ["-effective_from"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(reserve_cents_per_crew_hour__lte=models.F("target_cents_per_crew_hour")),
                name="target_not_below_reserve",
                violation_error_message=_("The reserve must not be above the target."),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.target_cents_per_crew_hour} cents per crew-hour from {self.effective_from}"
