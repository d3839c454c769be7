"""Estimates: what was reckoned, what was sent, what was answered.

Rooms above this one are known by plain numbers (`job_ref`, `property_ref`, `wall_refs`); what is printed about them is
kept here as it was that day.
"""

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _

from pricing.catalogue.models import Service
from pricing.estimates.choices import DriveBasis, EstimateState, MessageKind, PriceWhy, SentBy
from shared.events.append_only import AppendOnlyModel
from shared.outbox.models import Message


class Estimate(models.Model):
    """What work at a property would take and cost. Figures are stored as reckoned or as the office set them, and never
    reckoned again; each change is in the history with its reason."""

    job_ref = models.PositiveBigIntegerField(db_index=True, help_text="the job that it is for")
    property_ref = models.PositiveBigIntegerField(db_index=True)
    customer_name = models.CharField(max_length=120)
    place = models.CharField(max_length=300, help_text="the address as it was printed")
    language = models.CharField(max_length=5, default="en")
    storeys = models.PositiveSmallIntegerField(default=1)
    year_built = models.PositiveSmallIntegerField(null=True, blank=True)
    card_from = models.DateField(null=True, blank=True, help_text="first day of the rate card that it was made with")
    state = models.CharField(max_length=10, choices=EstimateState.choices, default=EstimateState.DRAFT)
    version = models.PositiveIntegerField(default=1)
    revision = models.PositiveSmallIntegerField(default=0, help_text="how often it was sent")
    made_at = models.DateTimeField()
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    valid_until = models.DateField(help_text=_("Last day on which it can be accepted"))
    target_cents_per_crew_hour = models.PositiveIntegerField()
    reserve_cents_per_crew_hour = models.PositiveIntegerField()
    drive_minutes = models.PositiveIntegerField(help_text="share of a route's driving")
    drive_metres = models.PositiveIntegerField(default=0)
    drive_basis = models.CharField(max_length=14, choices=DriveBasis.choices)
    drive_days = models.PositiveSmallIntegerField(default=0, help_text="days that it was taken from")
    drive_source = models.CharField(max_length=60, blank=True, help_text="where the drive times came from")
    tax_millionths = models.PositiveIntegerField(
        null=True, blank=True, help_text=_("88750 is 8.875 %; empty: no rate was entered")
    )
    note = models.TextField(blank=True, help_text=_("Printed for the homeowner"))

    class Meta:
        ordering = ["-id"]
        indexes = [models.Index(fields=["state", "valid_until"], name="estimate_open_until")]
        constraints = [
            models.CheckConstraint(condition=models.Q(state__in=EstimateState.values), name="estimate_state_known"),
            models.CheckConstraint(
                condition=models.Q(drive_basis__in=DriveBasis.values), name="estimate_drive_basis_known"
            ),
            models.CheckConstraint(
                condition=models.Q(tax_millionths__isnull=True) | models.Q(tax_millionths__lt=1_000_000),
                name="estimate_tax_below_all",
                violation_error_message=_("A tax rate is from 0 to less than 100 percent."),
            ),
            models.UniqueConstraint(
                fields=["job_ref"],
                condition=models.Q(state__in=["draft", "sent"]),
                name="estimate_one_open_per_job",
                violation_error_message=_("This job has an open estimate already."),
            ),
        ]

    def __str__(self) -> str:
        return f"Estimate {self.pk}"


class EstimateLine(models.Model):
    """One service as estimated. An addition goes only with an earlier line of the same service: it has no set-up and
    no least charge of its own."""

    estimate = models.ForeignKey(Estimate, on_delete=models.CASCADE, related_name="lines")
    position = models.PositiveSmallIntegerField()
    service = models.ForeignKey(Service, on_delete=models.PROTECT, related_name="estimate_lines")
    quantity = models.PositiveIntegerField()
    is_addition = models.BooleanField(default=False)
    wall_refs = models.JSONField(default=list, blank=True)
    wall_names = models.JSONField(default=list, blank=True)
    minutes = models.PositiveIntegerField(help_text="expected, on site, two-person crew")
    median_minutes = models.PositiveIntegerField()
    q80_minutes = models.PositiveIntegerField()
    q90_minutes = models.PositiveIntegerField()
    minutes_why = models.JSONField(default=list, blank=True, help_text="how the minutes came about, in words")
    card_minutes = models.PositiveIntegerField(null=True, blank=True)
    card_price_cents = models.PositiveIntegerField(null=True, blank=True)
    card_why = models.JSONField(default=list, blank=True, help_text="how card price and materials came about, in words")
    materials_cents = models.PositiveIntegerField(default=0)
    target_price_cents = models.PositiveIntegerField(help_text="what its hours ask at the target")
    least_price_cents = models.PositiveIntegerField(help_text="what its hours and materials ask at the reserve")
    price_cents = models.PositiveIntegerField()
    price_why = models.CharField(max_length=6, choices=PriceWhy.choices)

    class Meta:
        ordering = ["estimate", "position"]
        constraints = [
            models.UniqueConstraint(fields=["estimate", "position"], name="estimate_line_position_once"),
            models.CheckConstraint(condition=models.Q(quantity__gte=1), name="estimate_line_has_quantity"),
            models.CheckConstraint(condition=models.Q(minutes__gte=1), name="estimate_line_has_minutes"),
            models.CheckConstraint(
                condition=models.Q(median_minutes__gte=1, q90_minutes__gte=models.F("median_minutes")),
                name="estimate_line_quantiles_ordered",
            ),
            models.CheckConstraint(condition=models.Q(price_why__in=PriceWhy.values), name="estimate_price_why_known"),
        ]

    def __str__(self) -> str:
        return f"{self.service} x {self.quantity}"


class EstimateOption(models.Model):
    """A choice that the homeowner has: some of the lines, done in one visit."""

    estimate = models.ForeignKey(Estimate, on_delete=models.CASCADE, related_name="options")
    position = models.PositiveSmallIntegerField()
    name = models.CharField(max_length=80, blank=True, help_text=_("Empty: named after its services"))
    lines = models.ManyToManyField(EstimateLine, related_name="options")
    discount_cents = models.PositiveIntegerField(default=0)

    class Meta:
        ordering = ["estimate", "position"]
        constraints = [models.UniqueConstraint(fields=["estimate", "position"], name="estimate_option_position_once")]

    def __str__(self) -> str:
        return f"option {self.position} of {self.estimate_id}"


class SentEstimate(AppendOnlyModel):
    """An estimate as it was given out: its figures are frozen, and its prints are what the homeowner sees.

    `figures`: `options`, each with position, discount, before tax, tax and total in cents, and `lines` as agreed.
    """

    estimate = models.ForeignKey(Estimate, on_delete=models.PROTECT, related_name="sendings")
    revision = models.PositiveSmallIntegerField()
    sent_at = models.DateTimeField()
    sent_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    sent_how = models.CharField(max_length=5, choices=SentBy.choices)
    valid_until = models.DateField()
    figures = models.JSONField()

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.UniqueConstraint(fields=["estimate", "revision"], name="sent_estimate_revision_once"),
            models.CheckConstraint(condition=models.Q(sent_how__in=SentBy.values), name="sent_estimate_way_known"),
        ]

    def __str__(self) -> str:
        return f"estimate {self.estimate_id} version {self.revision}"


class EstimatePrint(AppendOnlyModel):
    """A sent estimate in one language, exactly as it is shown: the page's text and the PDF are kept, not made again.

    15 USC 7001(d): a record must be kept so that it can be reproduced accurately. `choices` are the options as the
    answering form names them: position, name and total in words.
    """

    sent = models.ForeignKey(SentEstimate, on_delete=models.PROTECT, related_name="prints")
    language = models.CharField(max_length=5)
    title = models.CharField(max_length=200)
    html = models.TextField()
    html_digest = models.CharField(max_length=64)
    choices = models.JSONField()
    pdf_file = models.CharField(max_length=100, unique=True, help_text="random name below MEDIA_ROOT")
    pdf_digest = models.CharField(max_length=64)

    class Meta:
        ordering = ["sent", "language"]
        constraints = [models.UniqueConstraint(fields=["sent", "language"], name="estimate_print_once")]

    def __str__(self) -> str:
        return f"estimate print {self.sent_id} in {self.language}"


class EstimateAnswer(AppendOnlyModel):
    """Yes to one option, or no. Once for each estimate, with the exact text that was seen."""

    estimate = models.OneToOneField(Estimate, on_delete=models.PROTECT, related_name="answer")
    shown = models.ForeignKey(EstimatePrint, on_delete=models.PROTECT, related_name="+")
    accepted = models.BooleanField()
    option_position = models.PositiveSmallIntegerField(null=True, blank=True)
    option_name = models.CharField(max_length=400, blank=True)
    total_cents = models.PositiveIntegerField(null=True, blank=True)
    typed_name = models.CharField(max_length=120)
    statement = models.TextField(help_text="the sentence that stood above the name")
    reason = models.CharField(max_length=300, blank=True)
    html_digest = models.CharField(max_length=64)
    pdf_digest = models.CharField(max_length=64)
    by_link = models.BooleanField(help_text="through the link, not told to the office")
    device = models.CharField(max_length=300, blank=True)
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    at = models.DateTimeField()

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.CheckConstraint(condition=~models.Q(typed_name=""), name="estimate_answer_has_name"),
            models.CheckConstraint(
                condition=models.Q(accepted=True, option_position__isnull=False, total_cents__isnull=False)
                | models.Q(accepted=False, option_position__isnull=True, total_cents__isnull=True),
                name="estimate_yes_names_its_option",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.estimate_id} {'accepted' if self.accepted else 'declined'}"


class EstimateMessage(AppendOnlyModel):
    """A message about a sent estimate. Each kind once."""

    sent = models.ForeignKey(SentEstimate, on_delete=models.PROTECT, related_name="messages")
    kind = models.CharField(max_length=8, choices=MessageKind.choices)
    message = models.OneToOneField(Message, on_delete=models.PROTECT, related_name="estimate_message")

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.UniqueConstraint(fields=["sent", "kind"], name="estimate_message_once"),
            models.CheckConstraint(condition=models.Q(kind__in=MessageKind.values), name="estimate_message_kind_known"),
        ]

    def __str__(self) -> str:
        return f"{self.kind} of {self.sent_id}"
