from django.contrib import admin
from django.contrib.auth.admin import UserAdmin

from shared.people.models import User


@admin.register(User)
class PersonAdmin(UserAdmin):
    list_display = ("username", "first_name", "last_name", "role", "is_active")
    list_filter = ("role", "is_active")
    fieldsets = (*(UserAdmin.fieldsets or ()), ("Wallday", {"fields": ("role", "phone_e164")}))
    add_fieldsets = (*(UserAdmin.add_fieldsets or ()), ("Wallday", {"fields": ("role",)}))
