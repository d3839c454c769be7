from django.contrib import admin

from jobs.work.models import Job, JobLine, JobWindow, ServiceInterval, Visit, VisitLine
from shared.events.admin import LookOnlyAdmin


class JobLineInline(admin.TabularInline):
    model = JobLine
    extra = 0
    autocomplete_fields = ()
    raw_id_fields = ("walls",)


class JobWindowInline(admin.TabularInline):
    model = JobWindow
    extra = 0


@admin.register(Job)
class JobAdmin(admin.ModelAdmin):
    """State and version are changed by services only, which keep the history."""

    list_display = ("id", "reference", "property", "state", "created_at")
    list_filter = ("state",)
    search_fields = ("reference", "property__street", "property__customer__name")
    list_select_related = ("property",)
    raw_id_fields = ("property", "callback_of")
    readonly_fields = ("state", "version", "created_at")
    inlines = (JobLineInline, JobWindowInline)


@admin.register(ServiceInterval)
class ServiceIntervalAdmin(admin.ModelAdmin):
    list_display = ("property", "service", "interval_months", "last_done_on", "next_due_on")
    list_select_related = ("property", "service")
    raw_id_fields = ("property",)


@admin.register(Visit)
class VisitAdmin(LookOnlyAdmin):
    list_display = ("work_date", "job", "crew_code", "on_site_minutes", "drive_minutes")
    date_hierarchy = "work_date"


@admin.register(VisitLine)
class VisitLineAdmin(LookOnlyAdmin):
    list_display = ("visit", "service", "minutes", "price_cents")
    list_select_related = ("visit", "service")
