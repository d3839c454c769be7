from django.conf import settings
from django.db import models

from pricing.triage.choices import Choice, OutcomeKind
from shared.events.append_only import AppendOnlyModel


class LeadDecision(AppendOnlyModel):
    """What a person decided about a lead, beside what was advised. A change of mind is a further row."""

    job_ref = models.BigIntegerField(help_text="id of the job")
    advice = models.CharField(max_length=8, choices=Choice.choices)
    choice = models.CharField(max_length=8, choices=Choice.choices)
    price_cents = models.PositiveIntegerField(help_text="asked of the customer, before tax")
    card_price_cents = models.PositiveIntegerField(null=True, blank=True)
    crew_minutes = models.PositiveIntegerField(help_text="of a two-person crew, driving included")
    worth_cents_per_crew_hour = models.PositiveIntegerField(help_text="of the day on which it would pay most")
    reason = models.CharField(max_length=200, blank=True)
    decided_at = models.DateTimeField()
    decided_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["-id"]
        indexes = [models.Index(fields=["job_ref", "-id"], name="lead_decision_newest")]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(choice__in=Choice.values, advice__in=Choice.values), name="lead_choice_known"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.choice} lead {self.job_ref}"


class LeadOutcome(AppendOnlyModel):
    """What came of a decision: the customer agreed or said no, or we declined. Once for each decision."""

    decision = models.OneToOneField(LeadDecision, on_delete=models.PROTECT, related_name="outcome")
    kind = models.CharField(max_length=8, choices=OutcomeKind.choices)
    at = models.DateTimeField()

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.CheckConstraint(condition=models.Q(kind__in=OutcomeKind.values), name="lead_outcome_known"),
        ]

    def __str__(self) -> str:
        return f"{self.kind} after {self.decision_id}"
