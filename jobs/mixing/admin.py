from django.contrib import admin

from jobs.mixing.models import Mix, Product, Stock, StripReading, SurfaceLimit
from shared.events.admin import LookOnlyAdmin


@admin.register(Product)
class ProductAdmin(LookOnlyAdmin):
    """To be looked at; the page changes products, and keeps the history."""

    list_display = ("name", "chemistry", "strongest_basis_points", "strongest_basis", "is_active")


@admin.register(Stock)
class StockAdmin(LookOnlyAdmin):
    list_display = ("product", "received_on", "basis_points", "basis", "packages", "used_up_on")
    list_select_related = ("product",)


@admin.register(StripReading)
class StripReadingAdmin(LookOnlyAdmin):
    list_display = ("stock", "read_on", "basis_points", "basis")
    list_select_related = ("stock__product",)


@admin.register(Mix)
class MixAdmin(LookOnlyAdmin):
    list_display = ("service", "position", "product", "target_basis_points", "target_basis", "way")
    list_select_related = ("service", "product")


@admin.register(SurfaceLimit)
class SurfaceLimitAdmin(LookOnlyAdmin):
    list_display = ("surface", "basis_points", "basis", "footing", "checked_on")
