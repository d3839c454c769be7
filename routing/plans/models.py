from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.utils.translation import gettext_lazy as _

from jobs.work.models import Job
from pricing.catalogue.models import Skill
from routing.plans.choices import LeftOutReason, PlanObjective, PlanState, RunState, WeekState
from routing.plans.domain.learning import LEAST_PERCENT, MOST_FIXED, MOST_PERCENT
from routing.roads.domain import LONGEST_SOURCE

MINUTES_OF_A_LONG_DAY = 1500  # the day on which clocks go back has 25 hours
MOST_SECONDS = 600  # a planning run may not take longer


class Yard(models.Model):
    """Where crews start and end their day."""

    code = models.SlugField(max_length=20, unique=True)
    name = models.CharField(max_length=60)
    address = models.CharField(max_length=200, blank=True)
    latitude = models.FloatField()
    longitude = models.FloatField()
    timezone = models.CharField(max_length=60, default="America/New_York", help_text="IANA name")
    uses_learnt_drives = models.BooleanField(
        default=False, help_text=_("Plan with drive times as they were learnt from booked days")
    )

    class Meta:
        ordering = ["code"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(latitude__gte=-90, latitude__lte=90, longitude__gte=-180, longitude__lte=180),
                name="yard_place_valid",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class LearntDrive(models.Model):
    """What booked drives say about hours with like traffic, as routing.plans.domain.learning.Factor. Fitted anew
    every night."""

    yard = models.ForeignKey(Yard, on_delete=models.CASCADE, related_name="learnt_drives")
    hours = models.CharField(max_length=40, help_text="name of the hours with like traffic")
    from_minute = models.PositiveSmallIntegerField(help_text="minutes after local midnight at which they begin")
    trips = models.PositiveIntegerField()
    speeds = models.CharField(max_length=20, default="", help_text="key of the speeds that it was fitted against")
    factor_percent = models.PositiveSmallIntegerField(help_text="what minutes are multiplied with")
    median_percent = models.PositiveIntegerField(null=True)
    low_percent = models.PositiveIntegerField(null=True)
    high_percent = models.PositiveIntegerField(null=True)
    fitted_at = models.DateTimeField()

    class Meta:
        ordering = ["yard", "from_minute"]
        constraints = [
            models.UniqueConstraint(fields=["yard", "hours"], name="learnt_drive_once"),
            models.CheckConstraint(
                condition=models.Q(factor_percent__gte=LEAST_PERCENT, factor_percent__lte=MOST_PERCENT),
                name="learnt_drive_factor_bounded",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.yard}, {self.hours}: {self.factor_percent} %"


class LearntPacking(models.Model):
    """The part of a yard's drives that does not grow with the road, as routing.plans.domain.learning.Packing: packing
    up, parking. Fitted anew every night."""

    yard = models.OneToOneField(Yard, on_delete=models.CASCADE, related_name="learnt_packing")
    trips = models.PositiveIntegerField()
    minutes = models.PositiveSmallIntegerField(help_text="added to each drive that begins at a stop")
    low_minutes = models.PositiveSmallIntegerField(null=True)
    high_minutes = models.PositiveSmallIntegerField(null=True)
    fitted_at = models.DateTimeField()

    class Meta:
        constraints = [
            models.CheckConstraint(condition=models.Q(minutes__lte=MOST_FIXED), name="learnt_packing_bounded"),
        ]

    def __str__(self) -> str:
        return f"{self.yard}: {self.minutes} min"


class Truck(models.Model):
    code = models.SlugField(max_length=20, unique=True)
    yard = models.ForeignKey(Yard, on_delete=models.PROTECT, related_name="trucks")
    mix_litres = models.PositiveIntegerField(null=True, blank=True, help_text=_("Tank for mix; empty: no limit"))
    gear = models.CharField(max_length=200, blank=True)
    cents_per_km = models.PositiveIntegerField(default=0)

    class Meta:
        ordering = ["code"]

    def __str__(self) -> str:
        return self.code


class Crew(models.Model):
    """A lead and helpers who work together. The wage is the whole crew's, per hour, before burden."""

    code = models.SlugField(max_length=20, unique=True)
    name = models.CharField(max_length=60)
    yard = models.ForeignKey(Yard, on_delete=models.PROTECT, related_name="crews")
    lead = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, related_name="crews"
    )
    truck = models.ForeignKey(Truck, null=True, blank=True, on_delete=models.SET_NULL, related_name="crews")
    workers = models.PositiveSmallIntegerField(default=2)
    skills = models.ManyToManyField(Skill, blank=True, related_name="crews")
    wage_cents_per_hour = models.PositiveIntegerField()
    fixed_cents = models.PositiveIntegerField(default=0, help_text=_("Cost of sending it out at all"))
    pace_percent = models.PositiveSmallIntegerField(
        default=100, help_text=_("On-site minutes against the usual: 90 is faster, 110 slower")
    )
    is_active = models.BooleanField(default=True)

    class Meta:
        ordering = ["code"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(pace_percent__gte=25, pace_percent__lte=400), name="crew_pace_sane"
            ),
            models.CheckConstraint(condition=models.Q(workers__gte=1, workers__lte=8), name="crew_has_workers"),
        ]

    def __str__(self) -> str:
        return self.name


class ShiftHours(models.Model):
    """The hours of a crew's day, in local minutes after midnight, with its break and overtime."""

    start_minute = models.PositiveSmallIntegerField(default=450)
    end_minute = models.PositiveSmallIntegerField(default=1020)
    break_minutes = models.PositiveSmallIntegerField(default=30, help_text=_("0: no break"))
    break_from_minute = models.PositiveSmallIntegerField(default=660)
    break_until_minute = models.PositiveSmallIntegerField(default=810, help_text=_("latest begin of the break"))
    break_is_paid = models.BooleanField(default=False)
    overtime_after_minutes = models.PositiveSmallIntegerField(
        null=True,
        blank=True,
        default=480,
        help_text=_("paid minutes after which overtime counts; empty: never"),
    )

    class Meta:
        abstract = True


def _hours_constraints(prefix: str) -> list[models.CheckConstraint]:
    return [
        models.CheckConstraint(
            condition=models.Q(end_minute__gt=models.F("start_minute"), end_minute__lte=MINUTES_OF_A_LONG_DAY),
            name=f"{prefix}_hours_ordered",
            violation_error_message=_("The shift must end after it begins."),
        ),
        models.CheckConstraint(
            condition=models.Q(break_until_minute__gte=models.F("break_from_minute")),
            name=f"{prefix}_break_ordered",
        ),
    ]


class ShiftPattern(ShiftHours):
    """A crew's usual hours on one day of the week (Monday 0)."""

    crew = models.ForeignKey(Crew, on_delete=models.CASCADE, related_name="patterns")
    weekday = models.PositiveSmallIntegerField()

    class Meta:
        ordering = ["crew", "weekday"]
        constraints = [
            models.UniqueConstraint(fields=["crew", "weekday"], name="pattern_once_per_weekday"),
            models.CheckConstraint(condition=models.Q(weekday__lte=6), name="pattern_weekday"),
            *_hours_constraints("pattern"),
        ]

    def __str__(self) -> str:
        return f"{self.crew} weekday {self.weekday}"


class ShiftException(ShiftHours):
    """A day on which a crew is off, or works other hours than usual."""

    crew = models.ForeignKey(Crew, on_delete=models.CASCADE, related_name="exceptions")
    work_date = models.DateField()
    is_off = models.BooleanField(default=False)
    reason = models.CharField(max_length=120, blank=True)

    class Meta:
        ordering = ["work_date", "crew"]
        constraints = [
            models.UniqueConstraint(fields=["crew", "work_date"], name="exception_once_per_day"),
            *_hours_constraints("exception"),
        ]

    def __str__(self) -> str:
        return f"{self.crew} {self.work_date}"


class PlanRun(models.Model):
    """One attempt to plan a day: what went in (digest), how far it is, how it ended."""

    yard = models.ForeignKey(Yard, on_delete=models.CASCADE, related_name="runs")
    work_date = models.DateField()
    state = models.CharField(max_length=8, choices=RunState.choices, default=RunState.WAITING)
    seconds_allowed = models.PositiveSmallIntegerField(
        validators=[MinValueValidator(1), MaxValueValidator(MOST_SECONDS)]
    )
    seed = models.PositiveIntegerField(default=1)
    objective = models.CharField(max_length=5, choices=PlanObjective.choices, default=PlanObjective.VALUE)
    requested_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    created_at = models.DateTimeField()
    started_at = models.DateTimeField(null=True, blank=True)
    finished_at = models.DateTimeField(null=True, blank=True)
    inputs_digest = models.CharField(max_length=64, blank=True)
    value_cents = models.FloatField(null=True, blank=True)
    upper_bound_cents = models.FloatField(null=True, blank=True)
    problem_text = models.TextField(blank=True, help_text="why it failed, in words")

    class Meta:
        ordering = ["-id"]
        indexes = [models.Index(fields=["yard", "work_date", "-id"], name="run_newest")]
        constraints = [
            models.CheckConstraint(condition=models.Q(state__in=RunState.values), name="run_state_known"),
            models.CheckConstraint(condition=models.Q(objective__in=PlanObjective.values), name="run_objective_known"),
            models.CheckConstraint(
                condition=models.Q(seconds_allowed__gte=1, seconds_allowed__lte=MOST_SECONDS),
                name="run_seconds_bounded",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.yard} {self.work_date} {self.state}"

    @property
    def is_finished(self) -> bool:
        return self.state in (RunState.DONE, RunState.FAILED)


class WeekPlan(models.Model):
    """A proposal for the days of a week that are still open. `problem` and `plan` are day-problem/1 and day-plan/1 with
    a crew for each crew's day (`domain.week`); nothing is changed on the days until it is taken over."""

    yard = models.ForeignKey(Yard, on_delete=models.CASCADE, related_name="week_plans")
    first_day = models.DateField(help_text="a Monday")
    days = models.JSONField(help_text="the days that were open, as ISO dates")
    state = models.CharField(max_length=11, choices=WeekState.choices, default=WeekState.WAITING)
    seconds_allowed = models.PositiveSmallIntegerField(
        validators=[MinValueValidator(1), MaxValueValidator(MOST_SECONDS)]
    )
    requested_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    created_at = models.DateTimeField()
    finished_at = models.DateTimeField(null=True, blank=True)
    started_at = models.DateTimeField(null=True, blank=True, help_text="when planning or taking over began last")
    taken_over_at = models.DateTimeField(null=True, blank=True)
    problem = models.JSONField(null=True, blank=True)
    plan = models.JSONField(null=True, blank=True)
    value_cents = models.FloatField(null=True, blank=True)
    upper_bound_cents = models.FloatField(null=True, blank=True)
    problem_text = models.TextField(blank=True, help_text="why it failed, in words")
    drive_source = models.CharField(max_length=200, blank=True, help_text="where the drive times came from")
    notices = models.JSONField(default=list, blank=True, help_text="what could not be planned or driven, in words")

    class Meta:
        ordering = ["-id"]
        indexes = [models.Index(fields=["yard", "first_day", "-id"], name="week_newest")]
        constraints = [
            models.CheckConstraint(condition=models.Q(state__in=WeekState.values), name="week_state_known"),
            models.CheckConstraint(
                condition=models.Q(seconds_allowed__gte=1, seconds_allowed__lte=MOST_SECONDS),
                name="week_seconds_bounded",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.yard} week of {self.first_day} {self.state}"

    @property
    def is_working(self) -> bool:
        return self.state in (WeekState.WAITING, WeekState.RUNNING, WeekState.TAKING_OVER)


class DayPlan(models.Model):
    """All routes of a yard's day. `problem` and `plan` are day-problem/1 and day-plan/1; every stored plan has passed
    the evaluator. `version` grows with each change and guards against overwriting somebody else's."""

    yard = models.ForeignKey(Yard, on_delete=models.PROTECT, related_name="day_plans")
    work_date = models.DateField()
    version = models.PositiveIntegerField(default=1)
    state = models.CharField(max_length=10, choices=PlanState.choices, default=PlanState.DRAFT)
    problem = models.JSONField()
    plan = models.JSONField()
    inputs_digest = models.CharField(max_length=64)
    value_cents = models.FloatField()
    upper_bound_cents = models.FloatField()
    drive_source = models.CharField(max_length=LONGEST_SOURCE, help_text="where the drive times came from")
    notices = models.JSONField(default=list, blank=True, help_text="what the office should know, in words")
    solved_at = models.DateTimeField()
    changed_at = models.DateTimeField()

    class Meta:
        ordering = ["-work_date", "yard", "id"]
        constraints = [
            models.UniqueConstraint(fields=["yard", "work_date"], name="day_plan_once"),
            models.CheckConstraint(condition=models.Q(state__in=PlanState.values), name="plan_state_known"),
        ]

    def __str__(self) -> str:
        return f"{self.yard} {self.work_date}"


class Route(models.Model):
    """One crew's day in a plan. Minutes are local, after midnight."""

    plan = models.ForeignKey(DayPlan, on_delete=models.CASCADE, related_name="routes")
    crew = models.ForeignKey(Crew, on_delete=models.PROTECT, related_name="routes")
    leave_minute = models.PositiveSmallIntegerField()
    back_minute = models.PositiveSmallIntegerField()
    break_minute = models.PositiveSmallIntegerField(null=True, blank=True)
    drive_minutes = models.PositiveIntegerField()
    drive_metres = models.PositiveIntegerField()
    paid_minutes = models.PositiveIntegerField()
    value_cents = models.FloatField()

    class Meta:
        ordering = ["plan", "crew__code", "id"]
        constraints = [models.UniqueConstraint(fields=["plan", "crew"], name="route_once_per_crew")]

    def __str__(self) -> str:
        return f"{self.crew} in {self.plan}"


class Stop(models.Model):
    """A job on a route. `drive_minutes` and `drive_metres` are its share of the route's driving."""

    route = models.ForeignKey(Route, on_delete=models.CASCADE, related_name="stops")
    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="stops")
    position = models.PositiveSmallIntegerField()
    arrive_minute = models.PositiveSmallIntegerField()
    start_minute = models.PositiveSmallIntegerField()
    finish_minute = models.PositiveSmallIntegerField()
    drive_minutes = models.PositiveIntegerField(default=0)
    drive_metres = models.PositiveIntegerField(default=0)
    is_locked = models.BooleanField(default=False, help_text=_("stays with this crew when the day is planned again"))

    class Meta:
        ordering = ["route", "position"]
        constraints = [
            models.UniqueConstraint(fields=["route", "position"], name="stop_position_once"),
            models.CheckConstraint(
                condition=models.Q(
                    start_minute__gte=models.F("arrive_minute"), finish_minute__gte=models.F("start_minute")
                ),
                name="stop_times_ordered",
            ),
        ]

    def __str__(self) -> str:
        return f"stop {self.position} of {self.route_id}"


class LeftOut(models.Model):
    """A job that could have been done that day and is in no route, with the reason."""

    plan = models.ForeignKey(DayPlan, on_delete=models.CASCADE, related_name="left_out")
    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="left_out")
    reason = models.CharField(max_length=20, choices=LeftOutReason.choices)
    price_to_place_cents = models.IntegerField(null=True, blank=True)
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["plan", "job"]
        constraints = [
            models.UniqueConstraint(fields=["plan", "job"], name="left_out_once"),
            models.CheckConstraint(condition=models.Q(reason__in=LeftOutReason.values), name="left_out_reason_known"),
        ]

    def __str__(self) -> str:
        return f"job {self.job_id}: {self.reason}"
