import builtins

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _

from jobs.customers.models import Property, Wall
from jobs.mixing.models import Product
from jobs.work.choices import JobState
from jobs.work.domain.reactions import Chemistry
from pricing.catalogue.models import Service
from shared.events.append_only import AppendOnlyModel


class Job(models.Model):
    """Work at one property, from the first call to the last rinse. What is done there is on its lines."""

    reference = models.CharField(max_length=40, null=True, blank=True, unique=True)  # noqa: DJ001
    property = models.ForeignKey(Property, on_delete=models.PROTECT, related_name="jobs")
    state = models.CharField(max_length=10, choices=JobState.choices, default=JobState.LEAD)
    source = models.CharField(max_length=60, blank=True, help_text=_("How the lead came"))
    discount_cents = models.PositiveIntegerField(default=0)
    note = models.TextField(blank=True, help_text=_("For the crew"))
    callback_of = models.ForeignKey(
        "self",
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="callbacks",
        help_text=_("The job that this free return visit makes good"),
    )
    created_at = models.DateTimeField()
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["-id"]
        indexes = [models.Index(fields=["state", "id"], name="job_state")]
        constraints = [
            models.CheckConstraint(condition=models.Q(state__in=JobState.values), name="job_state_known"),
        ]

    def __str__(self) -> str:
        return f"Job {self.pk}"

    @builtins.property  # the field `property` hides the plain name here
    def price_cents(self) -> int:
        """Before tax, after the discount. Lines should have been read together with the job."""
        return sum(line.price_cents for line in self.lines.all()) - self.discount_cents


class JobLine(models.Model):
    """One service on a job. Price, materials and minutes are as agreed; later rate cards do not change them."""

    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="lines")
    service = models.ForeignKey(Service, on_delete=models.PROTECT, related_name="job_lines")
    quantity = models.PositiveIntegerField(default=1, help_text=_("in the unit of the service"))
    price_cents = models.IntegerField()
    card_price_cents = models.IntegerField(null=True, blank=True, help_text=_("what the rate card asked that day"))
    materials_cents = models.PositiveIntegerField(default=0)
    estimated_minutes = models.PositiveIntegerField(help_text=_("on site, two-person crew"))
    walls = models.ManyToManyField(Wall, blank=True, related_name="job_lines")
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["job", "id"]

    def __str__(self) -> str:
        return f"{self.service} x {self.quantity}"


class JobWindow(models.Model):
    """Days, and hours on those days, in which the work may begin. Minutes are local, after midnight.

    A job may have several. `promised` means that the customer was told so: on those days the job is placed in every
    plan, or the plan says why it cannot be.
    """

    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="windows")
    first_date = models.DateField()
    last_date = models.DateField()
    start_minute = models.PositiveSmallIntegerField(default=0)
    end_minute = models.PositiveSmallIntegerField(default=1439)
    promised = models.BooleanField(default=False)

    class Meta:
        ordering = ["first_date", "start_minute", "id"]
        indexes = [models.Index(fields=["first_date", "last_date"], name="job_window_dates")]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(last_date__gte=models.F("first_date")),
                name="job_window_dates_ordered",
                violation_error_message=_("The last day must not be before the first."),
            ),
            models.CheckConstraint(
                condition=models.Q(end_minute__gte=models.F("start_minute"), end_minute__lte=1439),
                name="job_window_minutes_ordered",
                violation_error_message=_("The window must end after it begins, on the same day."),
            ),
            models.CheckConstraint(
                condition=models.Q(promised=False) | models.Q(first_date=models.F("last_date")),
                name="job_window_promise_one_day",
                violation_error_message=_("A promise names one day."),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.first_date} {self.start_minute}-{self.end_minute}"


class Visit(AppendOnlyModel):
    """What really happened at a property on a day: the service history. A correction is a further visit."""

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="visits")
    work_date = models.DateField()
    crew_code = models.CharField(max_length=20, blank=True)
    workers = models.PositiveSmallIntegerField(default=2)
    arrived_at = models.DateTimeField(null=True, blank=True)
    started_at = models.DateTimeField(null=True, blank=True)
    finished_at = models.DateTimeField(null=True, blank=True)
    on_site_minutes = models.PositiveIntegerField()
    drive_minutes = models.PositiveIntegerField(default=0, help_text=_("its share of the route's driving"))
    drive_metres = models.PositiveIntegerField(default=0)
    note = models.TextField(blank=True)
    corrects = models.ForeignKey("self", null=True, blank=True, on_delete=models.PROTECT, related_name="corrections")
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    recorded_at = models.DateTimeField()

    class Meta:
        ordering = ["-work_date", "-id"]
        indexes = [models.Index(fields=["job", "-work_date"], name="visit_job")]
        constraints = [
            models.CheckConstraint(condition=models.Q(workers__gte=1), name="visit_has_workers"),
            models.CheckConstraint(
                condition=models.Q(started_at__isnull=True)
                | models.Q(finished_at__isnull=True)
                | models.Q(finished_at__gte=models.F("started_at")),
                name="visit_times_ordered",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.work_date} job {self.job_id}"


class VisitLine(AppendOnlyModel):
    """One service as it was really done on a visit."""

    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="lines")
    service = models.ForeignKey(Service, on_delete=models.PROTECT, related_name="visit_lines")
    job_line = models.ForeignKey(JobLine, null=True, blank=True, on_delete=models.PROTECT, related_name="visit_lines")
    minutes = models.PositiveIntegerField(null=True, blank=True, help_text=_("booked for this line; empty: not booked"))
    price_cents = models.IntegerField()
    materials_cents = models.PositiveIntegerField(default=0)

    class Meta:
        ordering = ["visit", "id"]

    def __str__(self) -> str:
        return f"{self.service} on visit {self.visit_id}"


class Poured(AppendOnlyModel):
    """What was poured on a wall, or that it was rinsed: the record that says what may follow.

    `wall` empty is the whole house. A rinse has no product. `at` is when it happened, which the phone may say later.
    A rinse with a `reason` is one that somebody answers for afterwards.
    """

    key = models.UUIDField(unique=True, help_text="made by whoever writes it; what goes up twice is stored once")
    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="poured")
    wall = models.ForeignKey(Wall, null=True, blank=True, on_delete=models.PROTECT, related_name="poured")
    product = models.ForeignKey(Product, null=True, blank=True, on_delete=models.PROTECT, related_name="poured")
    chemistry = models.CharField(max_length=12, blank=True, help_text="the product's on that day; empty: a rinse")
    basis_points = models.PositiveSmallIntegerField(null=True, blank=True, help_text="at the surface, 0.01 %")
    basis = models.CharField(max_length=20, blank=True)
    at = models.DateTimeField()
    reason = models.CharField(max_length=200, blank=True, help_text="how it is known of a rinse that nobody wrote down")
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["job", "at", "id"]
        verbose_name_plural = "poured"
        constraints = [
            models.CheckConstraint(
                condition=models.Q(product__isnull=True, chemistry="")
                | models.Q(product__isnull=False, chemistry__in=[what.value for what in Chemistry]),
                name="poured_has_chemistry",
            ),
            models.CheckConstraint(
                condition=models.Q(basis_points__isnull=True, basis="")
                | models.Q(basis_points__isnull=False, basis_points__range=(1, 10_000)) & ~models.Q(basis=""),
                name="poured_strength_has_basis",
            ),
            models.CheckConstraint(
                condition=models.Q(reason="") | models.Q(product__isnull=True, recorded_by__isnull=False),
                name="poured_reason_of_rinse",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.chemistry or 'rinse'} on job {self.job_id}"


class StepMark(AppendOnlyModel):
    """A step of the work instructions was done, or was not after all: the newest counts."""

    key = models.UUIDField(unique=True)
    job_line = models.ForeignKey(JobLine, on_delete=models.PROTECT, related_name="step_marks")
    step = models.SlugField(max_length=30)
    is_done = models.BooleanField(default=True)
    at = models.DateTimeField()
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["job_line", "at", "id"]

    def __str__(self) -> str:
        return f"{self.step} of line {self.job_line_id}"


class ServiceInterval(models.Model):
    """How often a service recurs at a property, when it was last done and when it is due next."""

    property = models.ForeignKey(Property, on_delete=models.CASCADE, related_name="intervals")
    service = models.ForeignKey(Service, on_delete=models.PROTECT, related_name="intervals")
    interval_months = models.PositiveSmallIntegerField()
    last_done_on = models.DateField(null=True, blank=True)
    next_due_on = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["next_due_on", "id"]
        indexes = [models.Index(fields=["next_due_on", "id"], name="interval_due")]
        constraints = [
            models.UniqueConstraint(fields=["property", "service"], name="interval_once"),
            models.CheckConstraint(condition=models.Q(interval_months__gte=1), name="interval_positive"),
        ]

    def __str__(self) -> str:
        return f"{self.service} every {self.interval_months} months"
