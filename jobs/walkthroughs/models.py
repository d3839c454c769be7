from decimal import Decimal

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _

from jobs.customers.models import Wall
from shared.events.append_only import AppendOnlyModel

FIELD_SCALE = "field-0-5"


class ChalkReading(AppendOnlyModel):
    """The chalk found on a wall on a day, with method and scale.

    The scale is our own field scale, 0 (none) to 5 (worst), half steps allowed, after the general scheme of
    ISO 4628-1:2016; no published scale was made for vinyl siding. A correction is a new reading.
    """

    wall = models.ForeignKey(Wall, on_delete=models.CASCADE, related_name="readings")
    read_on = models.DateField()
    reading = models.DecimalField(max_digits=2, decimal_places=1)
    method = models.CharField(max_length=20, default="finger_test")
    scale = models.CharField(max_length=20, default=FIELD_SCALE)
    days_since_rain = models.PositiveSmallIntegerField(null=True, blank=True)
    note = models.CharField(max_length=200, blank=True)
    read_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["-read_on", "-id"]
        indexes = [models.Index(fields=["wall", "-read_on", "-id"], name="reading_newest")]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(reading__in=[Decimal(i) / 2 for i in range(11)]),
                name="reading_half_steps_0_to_5",
                violation_error_message=_("A chalk reading is 0 to 5 in half steps."),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.wall_id} {self.read_on}: {self.reading}"
