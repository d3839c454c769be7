from decimal import Decimal

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _

from jobs.customers.models import Property, Wall
from jobs.work.models import Job
from shared.events.append_only import AppendOnlyModel
from shared.outbox.models import Message

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


class Walkthrough(AppendOnlyModel):
    """The look at the walls before the work, as the crew lead wrote it down. A correction is a new walkthrough.

    `key` is made by whoever writes it, before it is sent: what goes up twice is stored once. `sent_digest` is of the
    whole entry as it came, so that the same key with other content is told apart.
    """

    key = models.UUIDField(unique=True)
    sent_digest = models.CharField(max_length=64)
    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="walkthroughs")
    property = models.ForeignKey(Property, on_delete=models.PROTECT, related_name="walkthroughs")
    walked_on = models.DateField()
    days_since_rain = models.PositiveSmallIntegerField(null=True, blank=True)
    note = models.CharField(max_length=500, blank=True)
    video_url = models.URLField(max_length=300, blank=True)
    photo_count = models.PositiveSmallIntegerField(default=0, help_text="pictures that were promised with the entry")
    walked_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    received_at = models.DateTimeField()

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(video_url="") | models.Q(video_url__startswith="https://"),
                name="walkthrough_video_https",
                violation_error_message=_("The link to the video must begin with https://."),
            ),
        ]

    def __str__(self) -> str:
        return f"walkthrough of job {self.job_id} on {self.walked_on}"


class WallFinding(AppendOnlyModel):
    """The finger test of one wall: each spot as it was read, and the reading that their median became."""

    walkthrough = models.ForeignKey(Walkthrough, on_delete=models.PROTECT, related_name="wall_findings")
    wall = models.ForeignKey(Wall, on_delete=models.PROTECT, related_name="findings")
    spots = models.JSONField(help_text="readings of the spots, 0 to 5 in half steps")
    reading = models.OneToOneField(ChalkReading, on_delete=models.PROTECT, related_name="finding")

    class Meta:
        ordering = ["walkthrough", "id"]
        constraints = [models.UniqueConstraint(fields=["walkthrough", "wall"], name="wall_finding_once")]

    def __str__(self) -> str:
        return f"{self.wall_id}: {self.spots}"


class LeftOutReason(models.TextChoices):
    NO_ACCESS = "no_access", _("cannot be reached")
    NOT_WASHED = "not_washed", _("is not washed today")
    NO_CHALK = "no_chalk", _("brick, stone or glass")


class WallLeftOut(AppendOnlyModel):
    """A wall that was not tested on a walkthrough, and why: no wall is forgotten without a word."""

    walkthrough = models.ForeignKey(Walkthrough, on_delete=models.PROTECT, related_name="left_out")
    wall = models.ForeignKey(Wall, on_delete=models.PROTECT, related_name="+")
    reason = models.CharField(max_length=10, choices=LeftOutReason.choices)

    class Meta:
        ordering = ["walkthrough", "id"]
        constraints = [
            models.UniqueConstraint(fields=["walkthrough", "wall"], name="wall_left_out_once"),
            models.CheckConstraint(
                condition=models.Q(reason__in=LeftOutReason.values), name="wall_left_out_reason_known"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.wall_id}: {self.reason}"


class FindingKind(models.TextChoices):
    BROKEN_PANEL = "broken_panel", _("broken or loose panel")
    FAILED_CAULK = "failed_caulk", _("failed caulk")
    OPEN_WINDOW = "open_window", _("window that does not shut")
    LOOSE_PAINT = "loose_paint", _("loose paint")
    OUTLET = "outlet", _("outlet without a cover")
    SHUTTERS = "shutters", _("oxidised shutters")
    OTHER = "other", _("something else")


class Finding(AppendOnlyModel):
    """Something else that was so before the work."""

    walkthrough = models.ForeignKey(Walkthrough, on_delete=models.PROTECT, related_name="findings")
    kind = models.CharField(max_length=12, choices=FindingKind.choices)
    wall = models.ForeignKey(Wall, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["walkthrough", "id"]
        constraints = [
            models.CheckConstraint(condition=models.Q(kind__in=FindingKind.values), name="finding_kind_known"),
            models.CheckConstraint(
                condition=~models.Q(kind=FindingKind.OTHER) | ~models.Q(note=""), name="finding_other_is_said"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind} in {self.walkthrough_id}"


class Photo(AppendOnlyModel):
    """A picture of a walkthrough, made anew from what was sent: turned upright, bounded, without its metadata.

    Where and when it was taken is kept here, for the office only, and never in the file.
    """

    walkthrough = models.ForeignKey(Walkthrough, on_delete=models.PROTECT, related_name="photos")
    key = models.UUIDField(unique=True, help_text="made by the phone; the same key is the same picture")
    wall = models.ForeignKey(Wall, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    file = models.CharField(max_length=100, unique=True, help_text="random name below MEDIA_ROOT")
    digest = models.CharField(max_length=64, help_text="SHA-256 of the file")
    sent_digest = models.CharField(max_length=64, help_text="SHA-256 of what was sent")
    size_bytes = models.PositiveIntegerField()
    width_px = models.PositiveIntegerField()
    height_px = models.PositiveIntegerField()
    taken_at = models.DateTimeField(null=True, blank=True)
    latitude = models.FloatField(null=True, blank=True)
    longitude = models.FloatField(null=True, blank=True)
    received_at = models.DateTimeField()
    sent_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["walkthrough", "id"]
        constraints = [
            models.UniqueConstraint(fields=["walkthrough", "sent_digest"], name="photo_once_per_walkthrough"),
        ]

    def __str__(self) -> str:
        return f"photo {self.digest[:8]} of {self.walkthrough_id}"


class Notice(AppendOnlyModel):
    """A condition notice: what the homeowner is shown first. A later one replaces an earlier one."""

    walkthrough = models.ForeignKey(Walkthrough, on_delete=models.PROTECT, related_name="notices")
    made_at = models.DateTimeField()
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["-id"]

    def __str__(self) -> str:
        return f"notice {self.pk} of {self.walkthrough_id}"


class NoticePrint(AppendOnlyModel):
    """A notice in one language, exactly as it is shown: the page's text and the PDF are kept, not made again.

    15 USC 7001(d): a record must be kept so that it can be reproduced accurately.
    """

    notice = models.ForeignKey(Notice, on_delete=models.PROTECT, related_name="prints")
    language = models.CharField(max_length=5)
    title = models.CharField(max_length=200)
    html = models.TextField()
    html_digest = models.CharField(max_length=64)
    pdf_file = models.CharField(max_length=100, unique=True, help_text="random name below MEDIA_ROOT")
    pdf_digest = models.CharField(max_length=64)
    picture_digests = models.JSONField(default=list)

    class Meta:
        ordering = ["notice", "language"]
        constraints = [models.UniqueConstraint(fields=["notice", "language"], name="notice_print_once")]

    def __str__(self) -> str:
        return f"notice {self.notice_id} in {self.language}"


class Acknowledgement(AppendOnlyModel):
    """The homeowner saw a notice and said so by name. Once for each notice."""

    notice = models.OneToOneField(Notice, on_delete=models.PROTECT, related_name="acknowledgement")
    shown = models.ForeignKey(NoticePrint, on_delete=models.PROTECT, related_name="+")
    typed_name = models.CharField(max_length=120)
    statement = models.TextField(help_text="the sentence that stood above the name")
    html_digest = models.CharField(max_length=64)
    pdf_digest = models.CharField(max_length=64)
    picture_digests = models.JSONField(default=list)
    record_file = models.CharField(max_length=100, blank=True, help_text="the printed record, below MEDIA_ROOT")
    record_digest = models.CharField(max_length=64, blank=True)
    wants_removal = models.BooleanField(default=False, help_text="asked for a price of taking the chalk off")
    by_link = models.BooleanField(help_text="through the link, not on the crew's phone")
    device = models.CharField(max_length=300, blank=True)
    handed_over_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    at = models.DateTimeField()

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.CheckConstraint(condition=~models.Q(typed_name=""), name="acknowledgement_has_name"),
        ]

    def __str__(self) -> str:
        return f"{self.notice_id} acknowledged"


class SentHow(models.TextChoices):
    EMAIL = "email", _("by email")
    TEXT = "text", _("by text message")
    PAPER = "paper", _("on paper, left at the door")


class NobodyHome(AppendOnlyModel):
    """Nobody could be shown the notice: how it was sent instead."""

    notice = models.ForeignKey(Notice, on_delete=models.PROTECT, related_name="absences")
    sent_how = models.CharField(max_length=5, choices=SentHow.choices)
    message = models.ForeignKey(Message, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    note = models.CharField(max_length=200, blank=True)
    at = models.DateTimeField()
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.UniqueConstraint(fields=["notice", "sent_how"], name="nobody_home_once_each_way"),
            models.CheckConstraint(condition=models.Q(sent_how__in=SentHow.values), name="nobody_home_way_known"),
            models.CheckConstraint(
                condition=models.Q(sent_how="paper", message__isnull=True)
                | (~models.Q(sent_how="paper") & models.Q(message__isnull=False)),
                name="nobody_home_message_sent",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.notice_id} sent {self.sent_how}"


class OfflineAnswer(AppendOnlyModel):
    """What a phone without a signal wrote down of a notice: acknowledged there, or nobody was home. Once for each key.

    `text` is what the phone showed, line by line, and `expected` what we word of the stored walkthrough. Where they
    differ (`differs`), the answer counts only when the office settled that, or the homeowner acknowledges again.
    """

    key = models.UUIDField(unique=True, help_text="made by the phone; the same key is the same answer")
    sent_digest = models.CharField(max_length=64, help_text="of the whole answer as it came")
    acknowledgement = models.OneToOneField(
        Acknowledgement, null=True, blank=True, on_delete=models.PROTECT, related_name="offline"
    )
    absence = models.OneToOneField(NobodyHome, null=True, blank=True, on_delete=models.PROTECT, related_name="offline")
    phone_at = models.DateTimeField(help_text="by the phone's clock")
    received_at = models.DateTimeField()
    text = models.TextField(blank=True)
    text_digest = models.CharField(max_length=64, blank=True)
    expected = models.TextField(blank=True)
    differs = models.BooleanField(default=False)
    picture_digests = models.JSONField(default=list, help_text="SHA-256 of the pictures shown, as they were sent")

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(acknowledgement__isnull=False, absence__isnull=True)
                | models.Q(acknowledgement__isnull=True, absence__isnull=False),
                name="offline_answer_is_one_of_two",
            ),
        ]

    def __str__(self) -> str:
        return f"answer {self.key} without a signal"

    @property
    def notice(self) -> Notice:
        """The notice that this settles, or would."""
        row = self.acknowledgement or self.absence
        assert row is not None  # a constraint sees to it
        return row.notice

    @property
    def walkthrough(self) -> Walkthrough:
        return self.notice.walkthrough


class DifferenceSettled(AppendOnlyModel):
    """The office lets an acknowledgement count although the phone showed another text than ours, and says why."""

    answer = models.OneToOneField(OfflineAnswer, on_delete=models.PROTECT, related_name="settled")
    reason = models.CharField(max_length=200)
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["-id"]
        constraints = [models.CheckConstraint(condition=~models.Q(reason=""), name="difference_settled_has_reason")]

    def __str__(self) -> str:
        return f"{self.answer_id} counts"


class StartOverride(AppendOnlyModel):
    """The owner lets a job begin although its notice is not settled, and says why."""

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="start_overrides")
    reason = models.CharField(max_length=200)
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["-id"]
        constraints = [models.CheckConstraint(condition=~models.Q(reason=""), name="start_override_has_reason")]

    def __str__(self) -> str:
        return f"job {self.job_id} may start"
