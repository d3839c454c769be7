"""Signing in and out, one's own account, the owner's page of people."""

from django.contrib.auth import views as auth
from django.urls import path

from shared.people import views

app_name = "people"
urlpatterns = [
    path("sign-in/", views.SignIn.as_view(), name="sign_in"),
    path("sign-out/", auth.LogoutView.as_view(), name="sign_out"),
    path("people/", views.people, name="person_list"),
    path("people/new/", views.person_new, name="person_new"),
    path("people/me/", views.own, name="own"),
    path("people/me/language/", views.own_language, name="own_language"),
    path("people/me/password/", views.own_password, name="own_password"),
    path("people/me/token/", views.own_token_make, name="own_token_make"),
    path("people/me/token/revoke/", views.own_token_revoke, name="own_token_revoke"),
    path("people/<row:person_id>/", views.person, name="person"),
    path("people/<row:person_id>/role/", views.person_role, name="person_role"),
    path("people/<row:person_id>/password/", views.person_password, name="person_password"),
    path("people/<row:person_id>/switch/", views.person_switch, name="person_switch"),
]
