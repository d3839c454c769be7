from typing import Any

from django.contrib import admin
from django.http import HttpRequest

from shared.people.models import User


@admin.register(User)
class PersonAdmin(admin.ModelAdmin):
    """For looking things up and correcting a name. Accounts, roles and passwords change on the page of people, which
    keeps the history."""

    list_display = ("username", "first_name", "last_name", "role", "is_active", "last_login")
    list_filter = ("role", "is_active")
    search_fields = ("username", "first_name", "last_name")
    fields = (
        "username",
        "first_name",
        "last_name",
        "email",
        "role",
        "phone_e164",
        "language",
        "is_active",
        "last_login",
    )
    readonly_fields = ("username", "role", "is_active", "last_login")

    def has_add_permission(self, request: HttpRequest) -> bool:
        return False

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False
