import uuid

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _


class Channel(models.TextChoices):
    EMAIL = "email", _("email")
    TEXT = "text", _("text message")


class MessageState(models.TextChoices):
    WAITING = "waiting", _("waiting")
    SENDING = "sending", _("sending, result unknown")
    SENT = "sent", _("sent")
    FAILED = "failed", _("failed")
    DROPPED = "dropped", _("dropped")


class Message(models.Model):
    """A message to a customer, written in the transaction that decided to send it and sent afterwards.

    `dedupe_key` makes each message unique: whatever runs twice writes it once. A row is marked `sending` before the
    provider is called; one that stays there was perhaps sent and is shown to the office, never sent again by itself.
    """

    dedupe_key = models.CharField(max_length=120, unique=True)
    idempotency_key = models.UUIDField(
        default=uuid.uuid4, unique=True, help_text="what a gateway knows this message by, however often it is tried"
    )
    purpose = models.CharField(max_length=30, help_text="reminder, confirmation, ...")
    channel = models.CharField(max_length=8, choices=Channel.choices)
    recipient = models.CharField(max_length=254, help_text="email address or E.164 number")
    recipient_name = models.CharField(max_length=120, blank=True)
    language = models.CharField(max_length=5, default="en")
    subject = models.CharField(max_length=200, blank=True)
    body = models.TextField()
    headers = models.JSONField(default=dict, blank=True)
    state = models.CharField(max_length=8, choices=MessageState.choices, default=MessageState.WAITING)
    quiet_zone = models.CharField(
        max_length=60, blank=True, help_text="IANA zone whose quiet hours are kept; empty: may go at any hour"
    )
    not_before = models.DateTimeField(null=True, blank=True)
    not_after = models.DateTimeField(null=True, blank=True, help_text="dropped when it could not be sent by then")
    attempts = models.PositiveSmallIntegerField(default=0)
    created_at = models.DateTimeField()
    claimed_at = models.DateTimeField(null=True, blank=True)
    finished_at = models.DateTimeField(null=True, blank=True)
    provider_reference = models.CharField(max_length=200, blank=True)
    problem = models.TextField(blank=True)

    class Meta:
        ordering = ["-created_at", "-id"]
        indexes = [models.Index(fields=["state", "not_before", "id"], name="message_due")]
        constraints = [
            models.CheckConstraint(condition=models.Q(state__in=MessageState.values), name="message_state_known"),
            models.CheckConstraint(condition=models.Q(channel__in=Channel.values), name="message_channel_known"),
            models.CheckConstraint(condition=~models.Q(recipient=""), name="message_has_recipient"),
            models.CheckConstraint(condition=~models.Q(dedupe_key=""), name="message_has_dedupe_key"),
            models.CheckConstraint(
                condition=~models.Q(state="sending") | models.Q(claimed_at__isnull=False),
                name="message_sending_was_claimed",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.purpose} {self.dedupe_key}"


class SendingSwitch(models.Model):
    """The one switch that stops everything: while it is off, no message leaves. One row, made on first use."""

    is_on = models.BooleanField(default=True)
    reason = models.CharField(max_length=200, blank=True)
    changed_at = models.DateTimeField(null=True, blank=True)
    changed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        verbose_name_plural = "sending switch"
        constraints = [models.CheckConstraint(condition=models.Q(pk=1), name="sending_switch_single_row")]

    def __str__(self) -> str:
        return "on" if self.is_on else "off"
