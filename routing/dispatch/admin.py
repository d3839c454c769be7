from django.contrib import admin

from jobs.work.admin import HistoryAdmin
from routing.dispatch.models import SentPlan, StopMark


@admin.register(SentPlan)
class SentPlanAdmin(HistoryAdmin):
    list_display = ("plan", "number", "sent_at", "sent_by")
    list_select_related = ("plan__yard", "sent_by")


@admin.register(StopMark)
class StopMarkAdmin(HistoryAdmin):
    list_display = ("work_date", "crew", "job", "kind", "at")
    list_select_related = ("crew", "job")
