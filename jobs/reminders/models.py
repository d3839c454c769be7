from django.conf import settings
from django.core.validators import MaxValueValidator
from django.db import models
from django.utils.translation import gettext_lazy as _

from jobs.customers.models import Customer, Language, Property, Wall
from jobs.reminders.domain.own_words import LONGEST, CauseKind
from shared.events.append_only import AppendOnlyModel
from shared.outbox.models import Channel, Message


class Reminder(models.Model):
    """A property was reminded, or is about to be, of one thing due on one date. Once each, whatever runs twice.

    What is due at the same customer's properties goes out in one message, so a message may carry several reminders.
    """

    property = models.ForeignKey(Property, on_delete=models.CASCADE, related_name="reminders")
    kind = models.CharField(max_length=30, help_text="code of the service, or chalk")
    due_on = models.DateField()
    reason = models.CharField(max_length=200)
    walls = models.ManyToManyField(
        Wall, blank=True, related_name="+", help_text="what a yes is for; none: the whole house"
    )
    cause = models.JSONField(default=dict, blank=True, help_text="the fact that the message rests on")
    message = models.ForeignKey(Message, on_delete=models.PROTECT, related_name="reminders")
    was_drawn = models.BooleanField(
        default=False, help_text="might have been held back: counts against the held-back group"
    )
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


MOST_HELD_BACK_PERCENT = 20


class HoldingBack(models.Model):
    """How many of those who would be reminded are held back to learn what comes anyway. One row, made on first use."""

    percent = models.PositiveSmallIntegerField(
        default=5,
        validators=[MaxValueValidator(MOST_HELD_BACK_PERCENT)],
        help_text=_("Per cent of those who would be reminded; 0 holds nobody back, and the gain stays unknown"),
    )
    seed = models.CharField(max_length=32, help_text="what the draw is repeated from")

    class Meta:
        verbose_name_plural = "holding back"
        constraints = [
            models.CheckConstraint(condition=models.Q(pk=1), name="holding_back_single_row"),
            models.CheckConstraint(
                condition=models.Q(percent__lte=MOST_HELD_BACK_PERCENT), name="holding_back_few_per_cent"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.percent} %"


class HeldBack(AppendOnlyModel):
    """A due thing that nobody was written to about, by the draw, so that what comes anyway can be counted.

    Rows with the same `message_key` would have gone out as one message: they are one person in the comparison.
    """

    property = models.ForeignKey(Property, on_delete=models.PROTECT, related_name="held_back")
    kind = models.CharField(max_length=30, help_text="code of the service, or chalk")
    due_on = models.DateField()
    message_key = models.CharField(max_length=120, help_text="what the message would have been known by")
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["-at", "-id"]
        verbose_name_plural = "held back"
        constraints = [
            models.UniqueConstraint(fields=["property", "kind", "due_on"], name="held_back_once"),
            models.CheckConstraint(condition=~models.Q(kind=""), name="held_back_has_kind"),
        ]

    def __str__(self) -> str:
        return f"{self.kind} for property {self.property_id} due {self.due_on}"


class AnswerKind(models.TextChoices):
    YES = "yes", _("wants it")
    NOT_NOW = "not_now", _("not now")
    SOLD = "sold", _("sold the house")
    NEVER = "never", _("never again")


class ReminderAnswer(AppendOnlyModel):
    """What a homeowner answered through the link of a reminder: once for each message.

    `written_on` is the local day of the reminder; with the customer it names the message that is answered.
    """

    customer = models.ForeignKey(Customer, on_delete=models.PROTECT, related_name="reminder_answers")
    written_on = models.DateField()
    kind = models.CharField(max_length=8, choices=AnswerKind.choices)
    day = models.DateField(null=True, blank=True, help_text="the day that was chosen")
    ask_again_on = models.DateField(null=True, blank=True)
    note = models.CharField(max_length=500, blank=True)
    jobs = models.JSONField(default=list, blank=True, help_text="ids of the jobs that were made of it")
    at = models.DateTimeField()

    class Meta:
        ordering = ["-at", "-id"]
        constraints = [
            models.UniqueConstraint(fields=["customer", "written_on"], name="reminder_answered_once"),
            models.CheckConstraint(condition=models.Q(kind__in=AnswerKind.values), name="reminder_answer_kind_known"),
        ]

    def __str__(self) -> str:
        return f"customer {self.customer_id} {self.kind}"


class DueHold(models.Model):
    """A property that is not to be reminded until a day, or (no day) until the office takes the hold away."""

    property = models.OneToOneField(Property, on_delete=models.CASCADE, related_name="due_hold")
    until = models.DateField(null=True, blank=True)
    reason = models.CharField(max_length=8, choices=AnswerKind.choices)
    at = models.DateTimeField()

    class Meta:
        ordering = ["-at", "-id"]

    def __str__(self) -> str:
        return f"property {self.property_id} until {self.until or 'further notice'}"


class AnswerMakes(models.TextChoices):
    LEAD = "lead", _("a lead that the office calls")
    AGREED = "agreed", _("an agreed job, promised for the day")


class AnswerSettings(models.Model):
    """What a yes becomes. One row, made on first use."""

    makes = models.CharField(max_length=6, choices=AnswerMakes.choices, default=AnswerMakes.LEAD)

    class Meta:
        verbose_name_plural = "answer settings"
        constraints = [
            models.CheckConstraint(condition=models.Q(pk=1), name="answer_settings_single_row"),
            models.CheckConstraint(condition=models.Q(makes__in=AnswerMakes.values), name="answer_makes_known"),
        ]

    def __str__(self) -> str:
        return self.makes


class OwnWords(models.Model):
    """The owner's sentence about a due thing, in place of ours: one for each kind, cause, language and channel."""

    kind = models.CharField(max_length=30, help_text="code of the service, or chalk")
    cause = models.CharField(max_length=8, choices=[(each.value, each.value) for each in CauseKind])
    language = models.CharField(max_length=2, choices=Language.choices)
    channel = models.CharField(max_length=8, choices=Channel.choices)
    words = models.TextField(max_length=LONGEST)
    updated_at = models.DateTimeField()
    updated_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["kind", "cause", "language", "channel"]
        verbose_name_plural = "own words"
        constraints = [
            models.UniqueConstraint(fields=["kind", "cause", "language", "channel"], name="own_words_once"),
            models.CheckConstraint(condition=~models.Q(words=""), name="own_words_say_something"),
            models.CheckConstraint(
                condition=models.Q(cause__in=[each.value for each in CauseKind]), name="own_words_cause_known"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.cause} {self.language} {self.channel}"


class ReplyMeaning(models.TextChoices):
    STOP = "stop", _("wants no more messages")
    START = "start", _("wants messages again")
    UNCLEAR = "unclear", _("may want no more messages")
    OTHER = "other", _("an answer")


class InboundText(AppendOnlyModel):
    """A text message that somebody sent us. `event` is the gateway's own id of it: taken in once each."""

    event = models.CharField(max_length=200, unique=True)
    sender_e164 = models.CharField(max_length=16)
    body = models.CharField(max_length=1600)
    meaning = models.CharField(max_length=8, choices=ReplyMeaning.choices)
    customer = models.ForeignKey(
        Customer, null=True, blank=True, on_delete=models.PROTECT, related_name="texts", help_text="whose number it is"
    )
    at = models.DateTimeField()

    class Meta:
        ordering = ["-at", "-id"]
        indexes = [models.Index(fields=["sender_e164", "-at"], name="inbound_text_sender")]
        constraints = [
            models.CheckConstraint(condition=models.Q(meaning__in=ReplyMeaning.values), name="inbound_meaning_known"),
        ]

    def __str__(self) -> str:
        return f"{self.sender_e164} {self.meaning}"


class TextRead(AppendOnlyModel):
    """Somebody in the office read a text that came in and did what there was to do; the clock, where it was plain."""

    text = models.OneToOneField(InboundText, on_delete=models.PROTECT, related_name="read")
    note = models.CharField(max_length=200, blank=True)
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["-at", "-id"]

    def __str__(self) -> str:
        return f"text {self.text_id} read"
