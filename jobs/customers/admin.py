from django.contrib import admin

from jobs.customers.models import AddressLookup, Consent, Customer, Property, Wall
from shared.events.admin import LookOnlyAdmin


@admin.register(Customer)
class CustomerAdmin(admin.ModelAdmin):  # type: ignore[type-arg]
    """For looking up and repair; the pages keep the history."""

    list_display = ("name", "reference", "phone_e164", "email", "language")
    list_filter = ("language",)
    search_fields = ("name", "reference", "email", "phone_e164", "properties__street")
    readonly_fields = ("created_at",)

    def has_add_permission(self, request: object) -> bool:
        return False


@admin.register(Property)
class PropertyAdmin(admin.ModelAdmin):  # type: ignore[type-arg]
    list_display = ("street", "city", "postal_code", "customer", "storeys")
    list_select_related = ("customer",)
    search_fields = ("street", "city", "reference", "customer__name")
    raw_id_fields = ("customer",)


@admin.register(Wall)
class WallAdmin(admin.ModelAdmin):  # type: ignore[type-arg]
    list_display = ("name", "property", "kind", "material", "facing_degrees", "area_sqft")
    list_filter = ("kind", "material")
    list_select_related = ("property",)
    search_fields = ("name", "property__street")
    raw_id_fields = ("property",)


@admin.register(Consent)
class ConsentAdmin(LookOnlyAdmin):
    """Written once, never changed."""

    list_display = ("customer", "channel", "purpose", "given", "source", "at")
    list_filter = ("channel", "given")
    list_select_related = ("customer",)


@admin.register(AddressLookup)
class AddressLookupAdmin(LookOnlyAdmin):
    """What the address register answered."""

    list_display = ("property", "address", "outcome", "at")
    list_filter = ("outcome",)
    list_select_related = ("property",)
