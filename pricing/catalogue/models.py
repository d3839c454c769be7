from django.db import models
from django.utils.translation import gettext_lazy as _

from pricing.catalogue.choices import Unit


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
    """Prices and production rates in force from a date on. A newer card never touches what was agreed."""

    effective_from = models.DateField(unique=True)
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["-effective_from"]

    def __str__(self) -> str:
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
