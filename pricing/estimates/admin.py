from django.contrib import admin

from pricing.estimates.models import (
    Estimate,
    EstimateAnswer,
    EstimateLine,
    EstimateMessage,
    EstimateOption,
    SentEstimate,
)
from shared.events.admin import LookOnlyAdmin


class LookOnlyInline(admin.TabularInline):
    extra = 0
    can_delete = False

    def has_add_permission(self, request: object, obj: object = None) -> bool:
        return False

    def has_change_permission(self, request: object, obj: object = None) -> bool:
        return False


class LineInline(LookOnlyInline):
    model = EstimateLine
    fields = ("position", "service", "quantity", "minutes", "card_price_cents", "price_cents", "price_why")


class OptionInline(LookOnlyInline):
    model = EstimateOption
    fields = ("position", "name", "discount_cents")


@admin.register(Estimate)
class EstimateAdmin(LookOnlyAdmin):
    """To look at; figures are changed on the estimate's page, which keeps the reason."""

    list_display = ("id", "place", "customer_name", "state", "revision", "valid_until")
    list_filter = ("state",)
    search_fields = ("place", "customer_name", "=job_ref")
    inlines = (LineInline, OptionInline)


@admin.register(SentEstimate)
class SentEstimateAdmin(LookOnlyAdmin):
    list_display = ("estimate", "revision", "sent_at", "sent_how", "valid_until")
    date_hierarchy = "sent_at"


@admin.register(EstimateAnswer)
class EstimateAnswerAdmin(LookOnlyAdmin):
    list_display = ("estimate", "accepted", "option_position", "total_cents", "typed_name", "by_link", "at")
    date_hierarchy = "at"


@admin.register(EstimateMessage)
class EstimateMessageAdmin(LookOnlyAdmin):
    list_display = ("sent", "kind", "message")
    list_select_related = ("sent", "message")
