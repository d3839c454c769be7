from typing import Any

from django import forms
from django.contrib.auth.forms import AuthenticationForm
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from shared import clock
from shared.people.models import User
from shared.people.roles import Role
from shared.people.selectors import sign_in_wait_until
from shared.people.services import sign_in_failure_record, sign_in_failures_forget


class SignInForm(AuthenticationForm):
    """Name and password. After a few refused tries the next ones wait, and the form says until when."""

    error_messages = {  # noqa: RUF012
        "invalid_login": _("Name and password do not match. Capital and small letters differ in the password."),
        "inactive": _("This account is switched off. Please ask the owner."),
    }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["username"].label = _("Sign-in name")

    def clean(self) -> dict[str, Any]:
        username, address = self.cleaned_data.get("username", ""), self._address()
        now = clock.now()
        wait_until = sign_in_wait_until(username=username, address=address, now=now)
        if wait_until is not None:
            minutes = max(1, -int((now - wait_until).total_seconds() // 60))
            raise ValidationError(
                _(
                    "Too many tries did not match. Please try again in %(minutes)s min, or ask the owner for a "
                    "new password."
                ),
                code="wait",
                params={"minutes": minutes},
            )
        try:
            cleaned = super().clean()
        except ValidationError:
            sign_in_failure_record(username=username, address=address, now=now)
            raise
        sign_in_failures_forget(username=username, address=address)
        return cleaned

    def _address(self) -> str:
        return str(self.request.META.get("REMOTE_ADDR", "")) if self.request else ""


class PersonForm(forms.Form):
    first_name = forms.CharField(label=_("First name"), max_length=150)
    last_name = forms.CharField(label=_("Last name"), max_length=150, required=False)
    username = forms.CharField(
        label=_("Sign-in name"), max_length=150, help_text=_("Letters, digits and @ . + - _ only")
    )
    role = forms.ChoiceField(label=_("Role"), choices=Role.choices, initial=Role.CREW_LEAD)
    email = forms.EmailField(label=_("Email"), required=False)
    phone = forms.CharField(label=_("Telephone"), max_length=40, required=False)
    password = forms.CharField(
        label=_("First password"),
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
        help_text=_("At least 8 letters or digits. They can change it after signing in."),
    )


class RoleForm(forms.Form):
    role = forms.ChoiceField(label=_("Role"), choices=Role.choices)


class PasswordForm(forms.Form):
    """The owner gives somebody a new password."""

    password = forms.CharField(
        label=_("New password"), widget=forms.PasswordInput(attrs={"autocomplete": "new-password"})
    )


class LanguageForm(forms.Form):
    language = forms.ChoiceField(label=_("Language of the pages"), required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        choices = User._meta.get_field("language").choices or []
        self.fields["language"].choices = [("", _("as the browser asks")), *choices]  # type: ignore[attr-defined]
