from django.db import models
from django.db.models import Q

from pricing.catalogue.models import Service
from pricing.minutes.choices import AccessLevel, ForecastOrigin, PromisedMinutes, RouteMinutes, SoilLevel
from shared import clock
from shared.events.append_only import AppendOnlyModel


class JobConditions(models.Model):
    """How a job's property is to be worked at, as far as somebody said so. ``job_ref`` is the id of the job."""

    job_ref = models.BigIntegerField(unique=True)
    access = models.CharField(max_length=6, choices=AccessLevel.choices, default=AccessLevel.USUAL)
    soil = models.CharField(max_length=6, choices=SoilLevel.choices, default=SoilLevel.USUAL)

    class Meta:
        ordering = ["job_ref"]
        verbose_name_plural = "job conditions"
        constraints = [
            models.CheckConstraint(condition=Q(access__in=AccessLevel.values), name="conditions_access_known"),
            models.CheckConstraint(condition=Q(soil__in=SoilLevel.values), name="conditions_soil_known"),
        ]

    def __str__(self) -> str:
        return f"job {self.job_ref}: {self.access} access, {self.soil} soil"


class BookedMinutes(AppendOnlyModel):
    """What one line of one job really took, with what is known of the job: what the minutes are learnt from.

    Written when work is booked. A correction is a further row of the same ``line_ref``; the newest stands. Minutes
    are those of the crew as it was (``workers``).
    """

    line_ref = models.BigIntegerField(help_text="id of the job line")
    job_ref = models.BigIntegerField(help_text="id of the job")
    work_date = models.DateField()
    service = models.ForeignKey(Service, on_delete=models.PROTECT, related_name="booked_minutes")
    quantity = models.PositiveIntegerField(help_text="in the unit of the service")
    storeys = models.PositiveSmallIntegerField(default=1)
    access = models.CharField(max_length=6, choices=AccessLevel.choices, default=AccessLevel.USUAL)
    soil = models.CharField(max_length=6, choices=SoilLevel.choices, default=SoilLevel.USUAL)
    chalk_half_steps = models.PositiveSmallIntegerField(null=True, blank=True, help_text="twice the chalk reading")
    material = models.CharField(max_length=14, blank=True)
    crew_code = models.CharField(max_length=20, blank=True)
    workers = models.PositiveSmallIntegerField(default=2)
    on_site_minutes = models.PositiveIntegerField()
    lines_sharing = models.PositiveSmallIntegerField(
        default=1, help_text="1: the line's own minutes were booked; more: so many lines share one booking by estimate"
    )
    recorded_at = models.DateTimeField(default=clock.now)

    class Meta:
        ordering = ["-work_date", "-id"]
        verbose_name_plural = "booked minutes"
        indexes = [
            models.Index(fields=["line_ref", "-id"], name="booked_minutes_line"),
            models.Index(fields=["-work_date", "-id"], name="booked_minutes_date"),
        ]
        constraints = [
            models.CheckConstraint(
                condition=Q(on_site_minutes__gte=1, quantity__gte=1, workers__gte=1, lines_sharing__gte=1),
                name="booked_minutes_positive",
            ),
            models.CheckConstraint(condition=Q(storeys__gte=1, storeys__lte=4), name="booked_minutes_storeys_1_to_4"),
            models.CheckConstraint(
                condition=Q(chalk_half_steps__isnull=True) | Q(chalk_half_steps__lte=10),
                name="booked_minutes_chalk_0_to_5",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.work_date} {self.service}: {self.on_site_minutes} min"


class LearntMinutes(AppendOnlyModel):
    """One version of the model: what the jobs done up to a day have shown. The newest is in force."""

    fitted_at = models.DateTimeField(default=clock.now)
    done_before = models.DateField(help_text="jobs done before this day were read")
    lines = models.PositiveIntegerField(help_text="booked lines that were read")
    digest = models.CharField(max_length=64, help_text="of the card and the lines: the same again is not fitted again")
    content = models.JSONField(help_text="minutes-model/1")

    class Meta:
        ordering = ["-done_before", "-id"]
        verbose_name_plural = "learnt minutes"
        indexes = [models.Index(fields=["-done_before", "-id"], name="learnt_minutes_newest")]

    def __str__(self) -> str:
        return f"model {self.pk}, jobs before {self.done_before}"


class StoredForecast(AppendOnlyModel):
    """What was expected of a line before it was worked: minutes of a two-person crew. Never computed again."""

    line_ref = models.BigIntegerField(unique=True, help_text="id of the job line")
    work_date = models.DateField()
    service = models.ForeignKey(Service, on_delete=models.PROTECT, related_name="+")
    model = models.ForeignKey(
        LearntMinutes, null=True, blank=True, on_delete=models.PROTECT, related_name="forecasts",
        help_text="empty: the rate card alone",
    )  # fmt: skip
    origin = models.CharField(max_length=8, choices=ForecastOrigin.choices)
    mean_minutes = models.PositiveIntegerField()
    median_minutes = models.PositiveIntegerField()
    q80_minutes = models.PositiveIntegerField()
    q90_minutes = models.PositiveIntegerField()
    based_on_jobs = models.PositiveIntegerField(default=0)
    made_at = models.DateTimeField(default=clock.now)

    class Meta:
        ordering = ["-work_date", "-id"]
        indexes = [models.Index(fields=["-work_date", "-id"], name="stored_forecast_date")]
        constraints = [
            models.CheckConstraint(condition=Q(origin__in=ForecastOrigin.values), name="stored_forecast_origin_known"),
            models.CheckConstraint(
                condition=Q(q90_minutes__gte=models.F("q80_minutes"), q80_minutes__gte=models.F("median_minutes")),
                name="stored_forecast_in_order",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.work_date} {self.service}: {self.mean_minutes} min expected"


class MinutesChoice(models.Model):
    """What the owner wants routes to reckon with: one row, made on first use."""

    promised = models.CharField(max_length=4, choices=PromisedMinutes.choices, default=PromisedMinutes.MEAN)
    routes = models.CharField(max_length=6, choices=RouteMinutes.choices, default=RouteMinutes.AGREED)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(pk=1), name="minutes_choice_single_row"),
            models.CheckConstraint(condition=Q(promised__in=PromisedMinutes.values), name="minutes_promised_known"),
            models.CheckConstraint(condition=Q(routes__in=RouteMinutes.values), name="minutes_routes_known"),
        ]

    def __str__(self) -> str:
        return f"promised: {self.promised}, routes: {self.routes}"
