from django.contrib import admin

from shared.events.admin import LookOnlyAdmin
from shared.outbox.models import BlockedAddress, DeliveryReport


@admin.register(DeliveryReport)
class DeliveryReportAdmin(LookOnlyAdmin):
    """What providers reported."""

    list_display = ("message", "kind", "detail", "at")
    list_filter = ("kind",)
    list_select_related = ("message",)


@admin.register(BlockedAddress)
class BlockedAddressAdmin(LookOnlyAdmin):
    """Addresses that nothing goes to."""

    list_display = ("address", "channel", "kind", "since", "opened_at")
    list_filter = ("kind", "channel")
