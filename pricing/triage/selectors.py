"""Decisions and outcomes as they are kept, and the close rates that they teach."""

from collections.abc import Collection

from django.db.models import QuerySet

from pricing.triage.choices import OutcomeKind
from pricing.triage.domain.closing import Answer, Band, close_rates
from pricing.triage.models import LeadDecision, LeadOutcome


def newest_decisions(*, job_refs: Collection[int]) -> dict[int, LeadDecision]:
    """The newest decision of each job, in one query."""
    rows = LeadDecision.objects.filter(job_ref__in=job_refs).order_by("id")
    return {row.job_ref: row for row in rows}


def decision_list() -> QuerySet[LeadDecision]:
    """Every decision with its outcome, newest first."""
    return LeadDecision.objects.select_related("outcome", "decided_by").order_by("-id")


def close_rate_bands() -> tuple[Band, ...]:
    """Learned from every customer's answer; what we declined ourselves is no answer."""
    heard = LeadOutcome.objects.exclude(kind=OutcomeKind.DECLINED).filter(decision__card_price_cents__gt=0)
    rows = heard.values_list("decision__price_cents", "decision__card_price_cents", "kind")
    return close_rates([Answer(price, card or 0, kind == OutcomeKind.AGREED) for price, card, kind in rows])
