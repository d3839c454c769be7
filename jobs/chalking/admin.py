from django.contrib import admin

from jobs.chalking.models import ChalkModel, WallForecast
from shared.events.admin import LookOnlyAdmin


@admin.register(ChalkModel)
class ChalkModelAdmin(LookOnlyAdmin):
    list_display = ("fitted_at", "wall_count", "reading_count")
    date_hierarchy = "fitted_at"


@admin.register(WallForecast)
class WallForecastAdmin(LookOnlyAdmin):
    list_display = ("wall", "early_on", "middle_on", "late_on", "refusal", "made_at")
    list_select_related = ("wall",)
    list_filter = ("refusal",)
