from typing import Any

from django.contrib import admin
from django.http import HttpRequest

from pricing.earnings.models import EarningEntry


@admin.register(EarningEntry)
class EarningEntryAdmin(admin.ModelAdmin):
    """To look at; entries are made by booking work and never changed."""

    list_display = ("work_date", "kind", "service", "job_ref", "price_cents", "on_site_minutes", "drive_minutes")
    list_filter = ("kind", "service")
    list_select_related = ("service",)
    search_fields = ("=job_ref",)
    date_hierarchy = "work_date"

    def has_add_permission(self, request: HttpRequest) -> bool:
        return False

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False
