from django.contrib import admin

from pricing.catalogue.models import HourlyTarget, RateCard, Service, Skill
from shared.events.admin import LookOnlyAdmin


@admin.register(Skill)
class SkillAdmin(admin.ModelAdmin):
    list_display = ("code", "name")


@admin.register(Service)
class ServiceAdmin(admin.ModelAdmin):
    list_display = ("name", "code", "unit", "interval_months", "is_offered")
    filter_horizontal = ("skills",)


@admin.register(RateCard)
class RateCardAdmin(LookOnlyAdmin):
    """To look at; cards are written as drafts on the rates page and stay as they are once in force."""

    list_display = ("effective_from", "note", "is_draft", "withdrawn_at")


@admin.register(HourlyTarget)
class HourlyTargetAdmin(LookOnlyAdmin):
    """To look at; targets are set on the rates page, which keeps their history."""

    list_display = ("effective_from", "target_cents_per_crew_hour", "reserve_cents_per_crew_hour")
