"""Signing in and out."""

from django.contrib.auth import views as auth
from django.urls import path

app_name = "people"
urlpatterns = [
    path("sign-in/", auth.LoginView.as_view(template_name="people/sign_in.html"), name="sign_in"),
    path("sign-out/", auth.LogoutView.as_view(), name="sign_out"),
]
