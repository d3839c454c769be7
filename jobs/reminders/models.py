from django.conf import settings
from django.db import models

from jobs.customers.models import Property
from shared.outbox.models import Message


class Reminder(models.Model):
    """A property was reminded, or is about to be, of one thing due on one date. Once each, whatever runs twice.

    What is due at the same customer's properties goes out in one message, so a message may carry several reminders.
    """

    property = models.ForeignKey(Property, on_delete=models.CASCADE, related_name="reminders")
    kind = models.CharField(max_length=30, help_text="code of the service, or chalk")
    due_on = models.DateField()
    reason = models.CharField(max_length=200)
    message = models.ForeignKey(Message, on_delete=models.PROTECT, related_name="reminders")
    created_at = models.DateTimeField()
    created_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["-created_at", "-id"]
        constraints = [
            models.UniqueConstraint(fields=["property", "kind", "due_on"], name="reminder_once"),
            models.CheckConstraint(condition=~models.Q(kind=""), name="reminder_has_kind"),
        ]

    def __str__(self) -> str:
        return f"{self.kind} for property {self.property_id} due {self.due_on}"
