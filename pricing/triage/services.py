"""What a person decided about a lead, and what came of it."""

from datetime import datetime
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from pricing.triage.choices import Choice, OutcomeKind
from pricing.triage.domain.leads import Judged
from pricing.triage.models import LeadDecision, LeadOutcome
from shared.errors import Refused
from shared.events.services import event_record


@transaction.atomic
def lead_decide(
    *, judged: Judged, choice: str, price_cents: int, now: datetime, reason: str = "", actor: Any = None
) -> LeadDecision:
    """Keep what was decided beside what was advised and why. Raises Refused: declining wants a reason, and nobody asks
    a price of nothing."""
    if choice == Choice.DECLINE and not reason.strip():
        raise Refused(_("Say why, in a few words."))
    if choice not in Choice.values or price_cents < 1:
        raise Refused(_("Say what to do and at which price."))
    best = judged.best
    row = LeadDecision(
        job_ref=judged.lead.job_id,
        advice=judged.advice.value,
        choice=choice,
        price_cents=price_cents,
        card_price_cents=judged.lead.card_price_cents,
        crew_minutes=best.crew_minutes if best else judged.lead.on_site_minutes,
        worth_cents_per_crew_hour=best.worth_cents if best else 0,
        reason=reason.strip()[:200],
        decided_at=now,
        decided_by=actor,
    )
    row.full_clean(exclude=["decided_by"])
    row.save()
    event_record(kind="lead.decided", subject=row, actor=actor, data={"job": row.job_ref, "choice": choice})
    return row


@transaction.atomic
def lead_outcome_record(*, job_ref: int, said_yes: bool, now: datetime) -> LeadOutcome | None:
    """What came of the newest decision about a job; None where none was made, or its outcome is known already."""
    decision = LeadDecision.objects.filter(job_ref=job_ref).select_related("outcome").first()
    if decision is None or hasattr(decision, "outcome"):
        return None
    kind = OutcomeKind.AGREED if said_yes else OutcomeKind.REFUSED
    if not said_yes and decision.choice == Choice.DECLINE:
        kind = OutcomeKind.DECLINED
    return LeadOutcome.objects.create(decision=decision, kind=kind, at=now)
