from django.contrib import admin

from jobs.walkthroughs.models import ChalkReading


@admin.register(ChalkReading)
class ChalkReadingAdmin(admin.ModelAdmin):
    """To be looked at only: readings are never changed, a correction is a new one."""

    list_display = ("wall", "read_on", "reading", "method", "scale")
    list_select_related = ("wall",)
    date_hierarchy = "read_on"

    def has_add_permission(self, request: object) -> bool:
        return False

    def has_change_permission(self, request: object, obj: object = None) -> bool:
        return False

    def has_delete_permission(self, request: object, obj: object = None) -> bool:
        return False
