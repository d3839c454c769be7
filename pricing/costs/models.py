from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.utils.translation import gettext_lazy as _


class Weekday(models.IntegerChoices):
    """Numbered as ``date.weekday`` does."""

    MONDAY = 0, _("Monday")
    TUESDAY = 1, _("Tuesday")
    WEDNESDAY = 2, _("Wednesday")
    THURSDAY = 3, _("Thursday")
    FRIDAY = 4, _("Friday")
    SATURDAY = 5, _("Saturday")
    SUNDAY = 6, _("Sunday")


class CostSettings(models.Model):
    """When the work week begins, and what the owner draws, if anything is said; one row."""

    week_starts_on = models.PositiveSmallIntegerField(choices=Weekday.choices, default=Weekday.MONDAY)
    drawings_cents_a_year = models.PositiveIntegerField(
        null=True, blank=True, help_text=_("What the owner takes out a year; empty: not said")
    )

    class Meta:
        verbose_name_plural = "cost settings"
        constraints = [
            models.CheckConstraint(condition=models.Q(pk=1), name="cost_settings_single_row"),
            models.CheckConstraint(condition=models.Q(week_starts_on__lte=6), name="cost_settings_weekday"),
        ]

    def __str__(self) -> str:
        return f"week from {self.get_week_starts_on_display()}"


class MileageRate(models.Model):
    """The owner's own mileage rate of a year, in place of the published one."""

    year = models.PositiveSmallIntegerField(unique=True, validators=[MinValueValidator(2000), MaxValueValidator(2100)])
    tenths_of_cent_per_mile = models.PositiveIntegerField(validators=[MinValueValidator(1), MaxValueValidator(100_000)])
    source = models.CharField(max_length=200, help_text=_("Where the rate was read"))

    class Meta:
        ordering = ["-year"]
        constraints = [models.CheckConstraint(condition=~models.Q(source=""), name="mileage_rate_has_source")]

    def __str__(self) -> str:
        return f"{self.year}: {self.tenths_of_cent_per_mile / 1000:.3f} a mile"


class Worker(models.Model):
    """Somebody who is paid by the hour. Not everybody who works signs in, so this is no user."""

    name = models.CharField(max_length=120, unique=True)

    class Meta:
        ordering = ["name"]
        constraints = [models.CheckConstraint(condition=~models.Q(name=""), name="worker_has_name")]

    def __str__(self) -> str:
        return self.name


class WorkerTerms(models.Model):
    """A worker's crew and wage from a day on, until the next row. Without a crew: not with us from that day."""

    worker = models.ForeignKey(Worker, on_delete=models.PROTECT, related_name="terms")
    effective_from = models.DateField()
    crew_code = models.CharField(max_length=20, blank=True, help_text=_("empty: in no crew from this day on"))
    cents_per_hour = models.PositiveIntegerField()
    burden_percent = models.PositiveSmallIntegerField(
        null=True,
        blank=True,
        validators=[MaxValueValidator(100)],
        help_text=_("Employer's taxes and insurance, in percent; empty: the company's"),
    )

    class Meta:
        ordering = ["worker__name", "-effective_from"]
        verbose_name_plural = "worker terms"
        constraints = [
            models.UniqueConstraint(fields=["worker", "effective_from"], name="worker_terms_once_a_day"),
            models.CheckConstraint(
                condition=models.Q(burden_percent__isnull=True) | models.Q(burden_percent__lte=100),
                name="worker_burden_at_most_100",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.worker} from {self.effective_from}"


class Bonus(models.Model):
    """Paid to a worker for the week that ``earned_on`` lies in. A promised one counts in that week's regular rate."""

    worker = models.ForeignKey(Worker, on_delete=models.PROTECT, related_name="bonuses")
    earned_on = models.DateField()
    cents = models.PositiveIntegerField(validators=[MinValueValidator(1), MaxValueValidator(10_000_000)])
    is_promised = models.BooleanField(default=True)
    reason = models.CharField(max_length=120)

    class Meta:
        ordering = ["-earned_on", "-id"]
        verbose_name_plural = "bonuses"
        constraints = [models.CheckConstraint(condition=models.Q(cents__gte=1), name="bonus_above_nothing")]

    def __str__(self) -> str:
        return f"{self.worker}, {self.earned_on}"
