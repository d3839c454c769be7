from django.contrib import admin

from jobs.walkthroughs.models import ChalkReading
from shared.events.admin import LookOnlyAdmin


@admin.register(ChalkReading)
class ChalkReadingAdmin(LookOnlyAdmin):
    """To be looked at only: readings are never changed, a correction is a new one."""

    list_display = ("wall", "read_on", "reading", "method", "scale")
    list_select_related = ("wall",)
    date_hierarchy = "read_on"
