from typing import Any

from django.contrib import admin
from django.http import HttpRequest


class LookOnlyAdmin(admin.ModelAdmin):
    """For rows that are made and changed elsewhere, or never changed: nothing can be added, changed or removed."""

    def has_add_permission(self, request: HttpRequest) -> bool:
        return False

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False
