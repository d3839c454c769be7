from django.contrib import admin

from routing.dispatch.models import DayWeather, Rig, SentPlan, StopMark, ToldTime
from shared.events.admin import LookOnlyAdmin


@admin.register(SentPlan)
class SentPlanAdmin(LookOnlyAdmin):
    list_display = ("plan", "number", "sent_at", "sent_by")
    list_select_related = ("plan__yard", "sent_by")


@admin.register(StopMark)
class StopMarkAdmin(LookOnlyAdmin):
    list_display = ("work_date", "crew", "job", "kind", "at")
    list_select_related = ("crew", "job")


@admin.register(Rig)
class RigAdmin(LookOnlyAdmin):
    """To be looked at; the page of the trucks changes it, and keeps the history."""

    list_display = ("truck", "drawn_ml", "out_ml", "measured_on", "jug_ml")
    list_select_related = ("truck",)


@admin.register(ToldTime)
class ToldTimeAdmin(LookOnlyAdmin):
    """What customers were told."""

    list_display = ("job", "work_date", "kind", "opens_at", "closes_at", "at")
    list_select_related = ("job",)


@admin.register(DayWeather)
class DayWeatherAdmin(LookOnlyAdmin):
    """To be looked at; the page of a day's weather changes it, and keeps the history."""

    list_display = ("work_date", "yard", "high_f", "humidity_percent", "wind_mph", "has_thunder")
    list_select_related = ("yard",)
