from django.contrib import admin

from pricing.earnings.models import EarningEntry
from shared.events.admin import LookOnlyAdmin


@admin.register(EarningEntry)
class EarningEntryAdmin(LookOnlyAdmin):
    """To look at; entries are made by booking work and never changed."""

    list_display = ("work_date", "kind", "service", "job_ref", "price_cents", "on_site_minutes", "drive_minutes")
    list_filter = ("kind", "service")
    list_select_related = ("service",)
    search_fields = ("=job_ref",)
    date_hierarchy = "work_date"
