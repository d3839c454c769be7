"""Signing in and out, one's own account, and the owner's page of people."""

from typing import Any, cast

from django.conf import settings
from django.contrib import messages
from django.contrib.auth import update_session_auth_hash
from django.contrib.auth import views as auth
from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.forms import PasswordChangeForm
from django.core.exceptions import ValidationError
from django.forms import Form
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.decorators import method_decorator
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods, require_POST
from django_htmx.http import HttpResponseClientRefresh
from rest_framework.authtoken.models import Token

from shared.people import forms, services
from shared.people.models import User
from shared.people.roles import owner_required, signed_in
from shared.people.selectors import person_get, person_list
from shared.web.navigation import frame_of, home_of
from shared.web.present import company_now


@method_decorator(login_not_required, name="dispatch")
class SignIn(auth.LoginView):
    template_name = "people/sign_in.html"
    authentication_form = forms.SignInForm
    redirect_authenticated_user = True

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        # A part of a page that was asked for after the session ended: the whole page must be loaded again.
        if getattr(request, "htmx", None):
            return HttpResponseClientRefresh()
        return cast(HttpResponse, super().dispatch(request, *args, **kwargs))

    def get_default_redirect_url(self) -> str:
        return home_of(self.request)

    def form_valid(self, form: Any) -> HttpResponse:
        return _speak(super().form_valid(form), form.get_user().language)


def _speak(response: HttpResponse, language: str) -> HttpResponse:
    """Keep the person's language in the cookie that Django's LocaleMiddleware reads."""
    if language:
        response.set_cookie(settings.LANGUAGE_COOKIE_NAME, language, max_age=31_536_000, samesite="Lax", httponly=True)
    else:
        response.delete_cookie(settings.LANGUAGE_COOKIE_NAME, samesite="Lax")
    return response


# --- one's own account ---


@signed_in
@require_GET
def own(request: HttpRequest) -> HttpResponse:
    user = cast(User, request.user)
    context = {
        "language_form": forms.LanguageForm(initial={"language": user.language}),
        "has_token": Token.objects.filter(user=user).exists(),
        "frame": frame_of(request),
    }
    return render(request, "people/own.html", context)


@signed_in
@require_POST
def own_language(request: HttpRequest) -> HttpResponse:
    form = forms.LanguageForm(request.POST)
    if not form.is_valid():
        return redirect("people:own")
    person = services.person_set_language(person=cast(User, request.user), language=form.cleaned_data["language"])
    return _speak(redirect("people:own"), person.language)


@signed_in
@require_http_methods(["GET", "POST"])
def own_password(request: HttpRequest) -> HttpResponse:
    user = cast(User, request.user)
    form = PasswordChangeForm(user, request.POST or None)
    if request.method == "POST" and form.is_valid():
        services.person_set_password(person=user, password=form.cleaned_data["new_password1"], actor=user)
        update_session_auth_hash(request, user)
        messages.success(request, _("Your password is changed."))
        return redirect("people:own")
    return render(request, "people/own_password.html", {"form": form, "frame": frame_of(request)})


@signed_in
@require_POST
def own_token_make(request: HttpRequest) -> HttpResponse:
    """Shows the token once, in the answer itself; it is not kept in a message or a session."""
    user = cast(User, request.user)
    token = services.token_make(person=user, actor=user)
    return render(request, "people/token.html", {"token": token, "frame": frame_of(request)})


@signed_in
@require_POST
def own_token_revoke(request: HttpRequest) -> HttpResponse:
    user = cast(User, request.user)
    services.token_revoke(person=user, actor=user)
    messages.success(request, _("The token no longer works."))
    return redirect("people:own")


# --- everybody, for the owner ---


@owner_required
@require_GET
def people(request: HttpRequest) -> HttpResponse:
    return render(request, "people/people.html", {"people": person_list()})


@owner_required
@require_http_methods(["GET", "POST"])
def person_new(request: HttpRequest) -> HttpResponse:
    form = forms.PersonForm(request.POST or None)
    if request.method == "POST" and form.is_valid() and _add(request, form):
        return redirect("people:person_list")
    return render(request, "people/person_new.html", {"form": form})


def _add(request: HttpRequest, form: Form) -> bool:
    new = services.NewPerson(**form.cleaned_data, country=company_now().country)
    try:
        person = services.person_add(new=new, actor=cast(User, request.user))
    except ValidationError as error:
        _into_form(form, error)
    except ValueError:
        form.add_error("phone", _("This is not a telephone number."))
    else:
        messages.success(request, _("%(name)s can sign in now.") % {"name": person.get_full_name()})
        return True
    return False


def _into_form(form: Form, error: ValidationError) -> None:
    """Put a service's refusal beside the fields it is about; a password's messages carry no field name."""
    if hasattr(error, "error_dict"):
        for name, errors in error.error_dict.items():
            form.add_error(name if name in form.fields else None, errors)
    else:
        form.add_error("password", error)


@owner_required
@require_GET
def person(request: HttpRequest, person_id: int) -> HttpResponse:
    found = person_get(person_id=person_id)
    context = {
        "person": found,
        "role_form": forms.RoleForm(initial={"role": found.role}),
        "password_form": forms.PasswordForm(),
    }
    return render(request, "people/person.html", context)


@owner_required
@require_POST
def person_role(request: HttpRequest, person_id: int) -> HttpResponse:
    found, form = person_get(person_id=person_id), forms.RoleForm(request.POST)
    if form.is_valid():
        services.person_set_role(person=found, role=form.cleaned_data["role"], actor=cast(User, request.user))
        messages.success(request, _("The role is set."))
    return redirect("people:person", person_id)


@owner_required
@require_POST
def person_password(request: HttpRequest, person_id: int) -> HttpResponse:
    found, form = person_get(person_id=person_id), forms.PasswordForm(request.POST)
    if form.is_valid():
        try:
            services.person_set_password(
                person=found, password=form.cleaned_data["password"], actor=cast(User, request.user)
            )
        except ValidationError as error:
            _into_form(form, error)
        else:
            messages.success(request, _("The new password is set."))
            return redirect("people:person", person_id)
    context = {"person": found, "role_form": forms.RoleForm(initial={"role": found.role}), "password_form": form}
    return render(request, "people/person.html", context, status=422)


@owner_required
@require_POST
def person_switch(request: HttpRequest, person_id: int) -> HttpResponse:
    """Switches an account off or on: field `to` is `off` or `on`."""
    found, actor = person_get(person_id=person_id), cast(User, request.user)
    if request.POST.get("to") == "off":
        services.person_switch_off(person=found, actor=actor)
    else:
        services.person_switch_on(person=found, actor=actor)
    return redirect("people:person", person_id)
