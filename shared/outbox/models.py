import uuid

from django.conf import settings
from django.db import models
from django.db.models.functions import Coalesce, Lower
from django.utils.translation import gettext_lazy as _

from shared.events.append_only import AppendOnlyModel


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
    is_promotion = models.BooleanField(
        default=False, help_text="nobody asked for it: held back on holidays and by the weekly limit"
    )
    not_before = models.DateTimeField(null=True, blank=True)
    not_after = models.DateTimeField(null=True, blank=True, help_text="dropped when it could not be sent by then")
    attempts = models.PositiveSmallIntegerField(default=0)
    created_at = models.DateTimeField()
    claimed_at = models.DateTimeField(null=True, blank=True)
    finished_at = models.DateTimeField(null=True, blank=True)
    delivered_at = models.DateTimeField(null=True, blank=True, help_text="as the provider reports it")
    provider_reference = models.CharField(max_length=200, blank=True)
    problem = models.TextField(blank=True)

    class Meta:
        ordering = ["-created_at", "-id"]
        indexes = [
            models.Index(
                "channel",
                "is_promotion",
                Coalesce("not_before", "created_at"),
                "id",
                name="message_turn",
                condition=models.Q(state="waiting"),
            ),
            # The state stands in these two though it is always the same: without it SQLite prefers `message_state`.
            models.Index(
                "state",
                "quiet_zone",
                "is_promotion",
                Coalesce("not_before", "created_at"),
                name="message_closed",
                condition=models.Q(state="waiting"),
            ),
            models.Index(fields=["state", "not_after"], name="message_late", condition=models.Q(state="waiting")),
            models.Index(fields=["state", "claimed_at"], name="message_state"),
            models.Index(fields=["channel", "claimed_at"], name="message_pace"),
            models.Index("channel", Lower("recipient"), "claimed_at", name="message_to_one"),
        ]
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


class SendingLimits(models.Model):
    """How fast messages leave, and how many a week may go to one address unasked. One row, made on first use."""

    mails_per_minute = models.PositiveSmallIntegerField(default=60)
    texts_per_minute = models.PositiveSmallIntegerField(default=30)
    most_per_week = models.PositiveSmallIntegerField(
        default=3, help_text=_("Nothing unasked goes to an address that had so many messages of any kind in 7 days")
    )

    class Meta:
        verbose_name_plural = "sending limits"
        constraints = [
            models.CheckConstraint(condition=models.Q(pk=1), name="sending_limits_single_row"),
            models.CheckConstraint(
                condition=models.Q(mails_per_minute__gte=1, texts_per_minute__gte=1, most_per_week__gte=1),
                name="sending_limits_at_least_one",
                violation_error_message=_("Each limit is at least 1; to stop everything use the switch."),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.mails_per_minute} mails and {self.texts_per_minute} texts a minute"

    def per_minute(self, channel: str) -> int:
        return self.mails_per_minute if channel == Channel.EMAIL else self.texts_per_minute


class Reported(models.TextChoices):
    DELIVERED = "delivered", _("delivered")
    BOUNCED = "bounced", _("the address does not work")
    COMPLAINED = "complained", _("reported as unwanted")
    FAILED = "failed", _("not delivered, for now")


class DeliveryReport(AppendOnlyModel):
    """What a provider told about a message afterwards. `event` is the provider's own id of the report: once each."""

    event = models.CharField(max_length=200, unique=True)
    message = models.ForeignKey(Message, on_delete=models.PROTECT, related_name="reports")
    kind = models.CharField(max_length=10, choices=Reported.choices)
    detail = models.CharField(max_length=500, blank=True)
    at = models.DateTimeField()

    class Meta:
        ordering = ["-at", "-id"]
        constraints = [
            models.CheckConstraint(condition=models.Q(kind__in=Reported.values), name="delivery_report_kind_known"),
        ]

    def __str__(self) -> str:
        return f"{self.message_id} {self.kind}"


class BlockedAddress(models.Model):
    """An address that nothing goes to any more: it bounced, or the person there complained.

    The office may open it again with a reason, for instance when a mistyped address turns out to be right.
    """

    channel = models.CharField(max_length=8, choices=Channel.choices)
    address = models.CharField(max_length=254, help_text="mail in small letters, numbers as E.164")
    kind = models.CharField(max_length=10, choices=Reported.choices)
    detail = models.CharField(max_length=500, blank=True)
    since = models.DateTimeField()
    opened_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-since", "-id"]
        verbose_name_plural = "blocked addresses"
        constraints = [
            models.UniqueConstraint(
                fields=["channel", "address"], condition=models.Q(opened_at__isnull=True), name="blocked_address_once"
            ),
            models.CheckConstraint(condition=models.Q(kind__in=("bounced", "complained")), name="blocked_kind_known"),
        ]

    def __str__(self) -> str:
        return f"{self.channel} {self.address} {self.kind}"
