from django.conf import settings
from django.db import models

from shared.events.append_only import AppendOnlyModel


class Event(AppendOnlyModel):
    """One thing that happened: what, to what, when, by whom and why. Written in the transaction that did it."""

    at = models.DateTimeField()
    kind = models.CharField(max_length=60, help_text="room and verb, such as job.agreed")
    subject_type = models.CharField(max_length=40)
    subject_id = models.BigIntegerField()
    actor = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    reason = models.TextField(blank=True)
    data = models.JSONField(default=dict, blank=True)

    class Meta:
        ordering = ["-at", "-id"]
        indexes = [models.Index(fields=["subject_type", "subject_id", "-at"], name="event_subject")]

    def __str__(self) -> str:
        return f"{self.kind} {self.subject_type} {self.subject_id}"
