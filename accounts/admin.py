from django.contrib import admin
from django.contrib.auth.admin import UserAdmin

from accounts.models import User


@admin.register(User)
class PersonAdmin(UserAdmin):
    """Accounts; a person leaves by unticking "active", since signed records name them."""

    list_display = ["username", "name_shown", "email", "is_active", "is_staff", "last_login"]
    search_fields = ["username", "display_name", "first_name", "last_name", "email"]
    fieldsets = [
        *(UserAdmin.fieldsets or ()),
        ("Wellhold", {"fields": ["display_name", "display_units", "must_change_password"]}),
    ]
    add_fieldsets = [
        *UserAdmin.add_fieldsets,
        (None, {"classes": ["wide"], "fields": ["display_name", "display_units"]}),
    ]

    def has_delete_permission(self, request: object, obj: object = None) -> bool:
        return False
