from django.db import models
from django.db.models import Q

from pricing.catalogue.models import Service
from pricing.earnings.choices import EntryKind
from pricing.earnings.domain.facts import HoursShared
from shared import clock
from shared.events.append_only import AppendOnlyModel


class EarningEntry(AppendOnlyModel):
    """What one line of one job earned and took: the ledger behind the earnings report.

    Written when the work is booked and never changed. What happens later is a further entry of the same
    ``job_ref`` and service with the difference: a refund (less money), a free return visit (more time), a
    correction (either, of either sign). Minutes are those of the crew as it was (``workers``); the report
    converts them to a two-person crew. The driving is the line's part of the job's share of its route. Storeys,
    part of town, source and whether the customer is new are as they were known on the day of the booking.
    """

    kind = models.CharField(max_length=10, choices=EntryKind.choices, default=EntryKind.WORK)
    work_date = models.DateField()
    service = models.ForeignKey(Service, on_delete=models.PROTECT, related_name="earnings")
    job_ref = models.BigIntegerField(help_text="id of the job; of a free return visit, the job that caused it")
    line_ref = models.BigIntegerField(null=True, blank=True, help_text="id of the job line")
    price_cents = models.IntegerField(help_text="before tax, after discounts and refunds")
    materials_cents = models.IntegerField(default=0)
    on_site_minutes = models.IntegerField(default=0)
    setup_minutes = models.IntegerField(default=0, help_text="share of set-up that is not on site")
    drive_minutes = models.IntegerField(default=0)
    drive_metres = models.IntegerField(default=0)
    workers = models.PositiveSmallIntegerField(default=2)
    wage_cents = models.IntegerField(default=0, help_text="wages with burden for these minutes")
    vehicle_cents = models.IntegerField(default=0)
    crew_code = models.CharField(max_length=20, blank=True)
    card_price_cents = models.IntegerField(null=True, blank=True, help_text="what the rate card asked")
    estimated_minutes = models.PositiveIntegerField(
        null=True, blank=True, help_text="on site, two-person crew, as estimated"
    )
    hours_shared = models.CharField(
        max_length=10, blank=True, help_text="how the visit's hours were shared over its lines; empty: not known"
    )
    storeys = models.PositiveSmallIntegerField(null=True, blank=True)
    city = models.CharField(max_length=80, blank=True)
    town_part = models.CharField(max_length=10, blank=True, help_text="centre, north, east, south or west of the city")
    lead_source = models.CharField(max_length=60, blank=True, help_text="how the lead came")
    is_returning = models.BooleanField(null=True, blank=True, help_text="the customer had been worked for before")
    facts_added_later = models.BooleanField(
        default=False, help_text="the facts of the job were filled in after the booking, from what was then known"
    )
    reason = models.CharField(max_length=200, blank=True)
    recorded_at = models.DateTimeField(default=clock.now)

    class Meta:
        ordering = ["-work_date", "-id"]
        verbose_name_plural = "earning entries"
        indexes = [
            models.Index(fields=["work_date", "service"], name="earning_date_service"),
            models.Index(fields=["job_ref", "service"], name="earning_job_service"),
        ]
        constraints = [
            models.CheckConstraint(condition=Q(kind__in=EntryKind.values), name="earning_kind_known"),
            models.CheckConstraint(condition=Q(workers__gte=1), name="earning_has_workers"),
            models.CheckConstraint(
                condition=Q(hours_shared__in=["", *map(str, HoursShared)]), name="earning_hours_shared_known"
            ),
            models.CheckConstraint(
                condition=Q(kind=EntryKind.CORRECTION)
                | Q(on_site_minutes__gte=0, setup_minutes__gte=0, drive_minutes__gte=0, drive_metres__gte=0),
                name="earning_time_not_negative",
            ),
            models.CheckConstraint(
                condition=~Q(kind=EntryKind.REFUND)
                | Q(price_cents__lt=0, on_site_minutes=0, setup_minutes=0, drive_minutes=0),
                name="earning_refund_is_money_back",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.work_date} {self.service} {self.price_cents}"
