from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.utils.translation import gettext_lazy as _

from jobs.work.models import Job
from routing.plans.models import Crew, DayPlan, Truck, Yard
from shared.events.append_only import AppendOnlyModel
from shared.outbox.models import Message


class SentPlan(AppendOnlyModel):
    """A day plan as it was sent out: frozen, numbered, with what changed since the one before."""

    plan = models.ForeignKey(DayPlan, on_delete=models.PROTECT, related_name="sent")
    number = models.PositiveSmallIntegerField()
    content = models.JSONField(help_text="day-plan/1")
    changes = models.JSONField(default=list, blank=True, help_text="what changed since the version before, by crew")
    sent_at = models.DateTimeField()
    sent_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["plan", "-number"]
        constraints = [models.UniqueConstraint(fields=["plan", "number"], name="sent_plan_number_once")]

    def __str__(self) -> str:
        return f"{self.plan} version {self.number}"


class SentRoute(AppendOnlyModel):
    """One crew's day as it was sent out. Minutes are real ones after local midnight."""

    sent = models.ForeignKey(SentPlan, on_delete=models.PROTECT, related_name="routes")
    crew = models.ForeignKey(Crew, on_delete=models.PROTECT, related_name="sent_routes")
    leave_minute = models.PositiveSmallIntegerField()
    back_minute = models.PositiveSmallIntegerField()
    break_minute = models.PositiveSmallIntegerField(null=True, blank=True)
    break_length_minutes = models.PositiveSmallIntegerField(default=0)
    drive_minutes = models.PositiveIntegerField()
    drive_metres = models.PositiveIntegerField()
    home_leg_minutes = models.PositiveIntegerField(default=0, help_text="drive from the last stop back to the yard")
    home_leg_metres = models.PositiveIntegerField(default=0)
    paid_minutes = models.PositiveIntegerField()

    class Meta:
        ordering = ["sent", "crew__code", "id"]
        constraints = [models.UniqueConstraint(fields=["sent", "crew"], name="sent_route_once_per_crew")]

    def __str__(self) -> str:
        return f"{self.crew} in {self.sent}"


class SentStop(AppendOnlyModel):
    """A job on a route that was sent out. `drive_*` are its share of the route's driving."""

    route = models.ForeignKey(SentRoute, on_delete=models.PROTECT, related_name="stops")
    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="sent_stops")
    position = models.PositiveSmallIntegerField()
    arrive_minute = models.PositiveSmallIntegerField()
    start_minute = models.PositiveSmallIntegerField()
    finish_minute = models.PositiveSmallIntegerField()
    leg_minutes = models.PositiveIntegerField(default=0, help_text="drive from the place before")
    leg_metres = models.PositiveIntegerField(default=0)
    drive_minutes = models.PositiveIntegerField(default=0)
    drive_metres = models.PositiveIntegerField(default=0)

    class Meta:
        ordering = ["route", "position"]
        constraints = [
            models.UniqueConstraint(fields=["route", "position"], name="sent_stop_position_once"),
            models.UniqueConstraint(fields=["route", "job"], name="sent_stop_job_once"),
        ]

    def __str__(self) -> str:
        return f"stop {self.position} of {self.route_id}"


class MarkKind(models.TextChoices):
    ARRIVED = "arrived", _("arrived")
    STARTED = "started", _("started")
    FINISHED = "finished", _("finished")


class StopMark(AppendOnlyModel):
    """The crew said where it is: arrived, started or finished at a job on a day. Each once."""

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="marks")
    crew = models.ForeignKey(Crew, on_delete=models.PROTECT, related_name="marks")
    work_date = models.DateField()
    kind = models.CharField(max_length=8, choices=MarkKind.choices)
    at = models.DateTimeField()
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["job", "at", "id"]
        constraints = [
            models.UniqueConstraint(fields=["job", "work_date", "kind"], name="mark_once"),
            models.CheckConstraint(condition=models.Q(kind__in=MarkKind.values), name="mark_kind_known"),
        ]

    def __str__(self) -> str:
        return f"job {self.job_id} {self.kind}"


class Rig(models.Model):
    """What a truck washes with, as it was measured: the injector with a bucket, the nozzle by its number."""

    truck = models.OneToOneField(Truck, on_delete=models.CASCADE, related_name="rig")
    drawn_ml = models.PositiveIntegerField(null=True, blank=True, help_text=_("drawn from the jug"))
    out_ml = models.PositiveIntegerField(null=True, blank=True, help_text=_("out of the hose meanwhile"))
    measured_on = models.DateField(null=True, blank=True)
    flow_ml_per_minute = models.PositiveIntegerField(null=True, blank=True, help_text=_("the machine's flow"))
    pressure_psi = models.PositiveSmallIntegerField(null=True, blank=True)
    jug_ml = models.PositiveIntegerField(null=True, blank=True, help_text=_("the jugs in which stock rides"))
    eyewash_ml = models.PositiveIntegerField(null=True, blank=True, help_text=_("clean water for eyes and skin"))

    class Meta:
        ordering = ["truck__code"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(drawn_ml__isnull=True, out_ml__isnull=True)
                | models.Q(drawn_ml__gte=1, out_ml__gt=models.F("drawn_ml")),
                name="rig_draw_measured",
                violation_error_message=_("More must leave the hose than was drawn from the jug; give both."),
            ),
        ]

    def __str__(self) -> str:
        return f"rig of {self.truck}"


class DayWeather(models.Model):
    """What the office wrote down of a day's weather at a yard. The humidity is that of the hottest hour."""

    yard = models.ForeignKey(Yard, on_delete=models.CASCADE, related_name="weather")
    work_date = models.DateField()
    high_f = models.SmallIntegerField(validators=[MinValueValidator(-40), MaxValueValidator(130)])
    humidity_percent = models.PositiveSmallIntegerField(validators=[MaxValueValidator(100)])
    wind_mph = models.PositiveSmallIntegerField(null=True, blank=True, validators=[MaxValueValidator(150)])
    has_thunder = models.BooleanField(default=False, help_text=_("Thunder is forecast"))

    class Meta:
        ordering = ["-work_date", "yard"]
        verbose_name_plural = "day weather"
        constraints = [
            models.UniqueConstraint(fields=["yard", "work_date"], name="day_weather_once"),
            models.CheckConstraint(
                condition=models.Q(high_f__range=(-40, 130), humidity_percent__lte=100), name="day_weather_sensible"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.yard} {self.work_date}: {self.high_f} F"


class TellingSettings(models.Model):
    """Whether and when customers are told of the coming of a crew. One row, made on first use."""

    day_before = models.BooleanField(default=True, help_text=_("Write on the day before, and when the time changes"))
    from_hour = models.PositiveSmallIntegerField(default=15, help_text=_("Hour of the day before, where the yard is"))
    on_our_way = models.BooleanField(default=True, help_text=_("Let the crew tell the next customer it is coming"))

    class Meta:
        verbose_name_plural = "telling settings"
        constraints = [
            models.CheckConstraint(condition=models.Q(pk=1), name="telling_settings_single_row"),
            models.CheckConstraint(
                condition=models.Q(from_hour__gte=8, from_hour__lte=20),
                name="telling_from_hour_in_hours",
                violation_error_message=_("Choose an hour from 8 to 20: nobody is written to at night."),
            ),
        ]

    def __str__(self) -> str:
        return f"day before from {self.from_hour}:00" if self.day_before else "off"


class ToldKind(models.TextChoices):
    FIRST = "first", _("told the day before")
    CHANGED = "changed", _("told of the change")
    ON_OUR_WAY = "on_our_way", _("told we are coming")


class ToldTime(AppendOnlyModel):
    """A customer was told when the crew comes to a job on a day."""

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="told_times")
    work_date = models.DateField()
    kind = models.CharField(max_length=10, choices=ToldKind.choices)
    opens_at = models.DateTimeField()
    closes_at = models.DateTimeField()
    message = models.ForeignKey(Message, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["-at", "-id"]
        indexes = [models.Index(fields=["job", "work_date", "-at"], name="told_newest")]
        constraints = [
            models.CheckConstraint(condition=models.Q(kind__in=ToldKind.values), name="told_kind_known"),
            models.CheckConstraint(condition=models.Q(closes_at__gte=models.F("opens_at")), name="told_window_ordered"),
        ]

    def __str__(self) -> str:
        return f"job {self.job_id} {self.kind}"


class CalendarFeed(models.Model):
    """The secret address of a crew's calendar feed; making a new one closes the old."""

    crew = models.OneToOneField(Crew, on_delete=models.CASCADE, related_name="feed")
    token = models.CharField(max_length=64, unique=True)

    def __str__(self) -> str:
        return f"feed of {self.crew}"
