from django.contrib import admin

from pricing.triage.models import LeadDecision
from shared.events.admin import LookOnlyAdmin


@admin.register(LeadDecision)
class LeadDecisionAdmin(LookOnlyAdmin):
    """To look at; decisions are never changed, a change of mind is a further one."""

    list_display = ("decided_at", "job_ref", "advice", "choice", "price_cents")
