from decimal import Decimal

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.utils.translation import gettext_lazy as _

from jobs.chalking.choices import DueWhen, Refusal, Since
from jobs.customers.models import Wall


class ChalkSetting(models.Model):
    """The owner's limit: one row, made when it is first set.

    2 is the first reading that anybody sees from the street, and the one from which homeowners are shown their wall
    (common practice, no source).
    """

    limit_half_steps = models.PositiveSmallIntegerField(
        default=4,
        validators=[MinValueValidator(1), MaxValueValidator(10)],
        help_text=_("Reading at which a wall is due, in half steps of the field scale: 4 is a reading of 2"),
    )
    due_when = models.CharField(max_length=6, choices=DueWhen.choices, default=DueWhen.MIDDLE)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=models.Q(pk=1),
                name="chalk_setting_single_row",
                violation_error_message=_("There is one limit only."),
            ),
            models.CheckConstraint(
                condition=models.Q(limit_half_steps__gte=1, limit_half_steps__lte=10),
                name="chalk_limit_on_scale",
                violation_error_message=_("The limit is a reading from 0.5 to 5."),
            ),
            models.CheckConstraint(condition=models.Q(due_when__in=DueWhen.values), name="chalk_due_when_known"),
        ]

    def __str__(self) -> str:
        return f"chalk limit {self.limit_half_steps / 2:g}"

    @property
    def limit(self) -> float:
        """As a reading of the field scale."""
        return self.limit_half_steps / 2

    @property
    def limit_decimal(self) -> Decimal:
        """As readings are stored."""
        return Decimal(self.limit_half_steps) / 2


class ChalkModel(models.Model):
    """One fit of the growth model to all walls: its parameters by name, and how sure they are."""

    fitted_at = models.DateTimeField()
    wall_count = models.PositiveIntegerField()
    reading_count = models.PositiveIntegerField()
    inputs_digest = models.CharField(max_length=64, help_text=_("SHA-256 of what was fitted: the same is not refitted"))
    parameters = models.JSONField(help_text=_("value of each parameter by name"))
    covariance = models.JSONField(help_text=_("rows and columns in the order of the parameters"))

    class Meta:
        ordering = ["-fitted_at", "-id"]

    def __str__(self) -> str:
        return f"chalk model of {self.fitted_at:%Y-%m-%d}"


class WallForecast(models.Model):
    """When a wall passes the owner's limit: the newest forecast of every wall that was ever read, and of every other
    one like which some were.

    `is_untested` says that nobody has read the present surface. Such a forecast is of the walls like it: it names no
    day but an interval, makes nothing due, and is in no message. Doses are in years of the site's south face since
    `since`. Where `refusal` is set there is nothing to tell, and the days that stand here say how wide the interval
    was. 2199-12-31 stands for that day and any later one.
    """

    wall = models.OneToOneField(Wall, on_delete=models.CASCADE, related_name="forecast")
    model = models.ForeignKey(ChalkModel, on_delete=models.PROTECT, related_name="forecasts")
    made_at = models.DateTimeField()
    limit_half_steps = models.PositiveSmallIntegerField()
    refusal = models.CharField(max_length=9, choices=Refusal.choices, blank=True, default=Refusal.NONE)
    since = models.DateField(null=True, blank=True, help_text=_("Day on which the surface's present life began"))
    since_what = models.CharField(max_length=8, choices=Since.choices, default=Since.UNKNOWN)
    dose_by_month = models.JSONField(default=list, help_text=_("January to December"))
    early_dose = models.FloatField(null=True, blank=True)
    middle_dose = models.FloatField(null=True, blank=True)
    late_dose = models.FloatField(null=True, blank=True)
    early_on = models.DateField(null=True, blank=True, help_text=_("One wall in ten like it has passed the limit"))
    middle_on = models.DateField(null=True, blank=True, help_text=_("Every second wall like it has"))
    late_on = models.DateField(null=True, blank=True, help_text=_("Nine in ten have"))
    reading_count = models.PositiveIntegerField(help_text=_("Readings of all its lives that the forecast rests on"))
    last_read_on = models.DateField(null=True, blank=True, help_text=_("Empty where the wall was never read"))
    is_untested = models.BooleanField(default=False)

    class Meta:
        ordering = ["middle_on", "id"]
        indexes = [
            models.Index(fields=["refusal", "is_untested", "early_on"], name="forecast_early"),
            models.Index(fields=["refusal", "is_untested", "middle_on"], name="forecast_middle"),
        ]
        constraints = [
            models.CheckConstraint(condition=models.Q(refusal__in=Refusal.values), name="forecast_refusal_known"),
            models.CheckConstraint(condition=models.Q(since_what__in=Since.values), name="forecast_since_known"),
            models.CheckConstraint(
                condition=~models.Q(refusal="")
                | models.Q(
                    early_on__isnull=False,
                    late_on__isnull=False,
                    middle_on__gte=models.F("early_on"),
                    late_on__gte=models.F("middle_on"),
                ),
                name="forecast_days_in_order",
            ),
            models.CheckConstraint(
                condition=models.Q(last_read_on__isnull=False) | models.Q(is_untested=True, reading_count=0),
                name="forecast_never_read_is_untested",
            ),
        ]

    def __str__(self) -> str:
        return f"forecast of wall {self.wall_id}"
