from django.contrib import admin

from routing.dispatch.models import SentPlan, StopMark
from shared.events.admin import LookOnlyAdmin


@admin.register(SentPlan)
class SentPlanAdmin(LookOnlyAdmin):
    list_display = ("plan", "number", "sent_at", "sent_by")
    list_select_related = ("plan__yard", "sent_by")


@admin.register(StopMark)
class StopMarkAdmin(LookOnlyAdmin):
    list_display = ("work_date", "crew", "job", "kind", "at")
    list_select_related = ("crew", "job")
