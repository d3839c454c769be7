from django.contrib import admin

from pricing.minutes.models import BookedMinutes, LearntMinutes, StoredForecast
from shared.events.admin import LookOnlyAdmin


@admin.register(BookedMinutes)
class BookedMinutesAdmin(LookOnlyAdmin):
    """To look at; rows are made by booking work."""

    list_display = ("work_date", "service", "job_ref", "quantity", "storeys", "crew_code", "on_site_minutes")
    list_filter = ("service",)
    list_select_related = ("service",)
    search_fields = ("=job_ref",)


@admin.register(LearntMinutes)
class LearntMinutesAdmin(LookOnlyAdmin):
    """To look at; versions are made at night."""

    list_display = ("done_before", "lines", "fitted_at")


@admin.register(StoredForecast)
class StoredForecastAdmin(LookOnlyAdmin):
    """To look at; what was expected is never changed."""

    list_display = ("work_date", "service", "line_ref", "mean_minutes", "q80_minutes", "q90_minutes", "origin")
    list_filter = ("service", "origin")
    list_select_related = ("service",)
