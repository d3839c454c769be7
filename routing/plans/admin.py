from django.contrib import admin

from routing.plans.models import Crew, ShiftException, ShiftPattern, Truck, Yard


@admin.register(Yard)
class YardAdmin(admin.ModelAdmin):
    list_display = ("code", "name", "timezone")


@admin.register(Truck)
class TruckAdmin(admin.ModelAdmin):
    list_display = ("code", "yard", "mix_litres", "cents_per_km")
    list_filter = ("yard",)


class ShiftPatternInline(admin.TabularInline):
    model = ShiftPattern
    extra = 0


class ShiftExceptionInline(admin.TabularInline):
    model = ShiftException
    extra = 0


@admin.register(Crew)
class CrewAdmin(admin.ModelAdmin):
    list_display = ("code", "name", "yard", "lead", "truck", "workers", "is_active")
    list_filter = ("yard", "is_active")
    filter_horizontal = ("skills",)
    inlines = (ShiftPatternInline, ShiftExceptionInline)
