from django.contrib import admin

from jobs.reminders.models import InboundText, TextRead
from shared.events.admin import LookOnlyAdmin


@admin.register(InboundText)
class InboundTextAdmin(LookOnlyAdmin):
    """Texts as they came in."""

    list_display = ("sender_e164", "meaning", "customer", "at")
    list_filter = ("meaning",)
    list_select_related = ("customer",)


@admin.register(TextRead)
class TextReadAdmin(LookOnlyAdmin):
    """Who read them, and when."""

    list_display = ("text", "by", "at")
    list_select_related = ("text", "by")
