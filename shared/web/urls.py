"""Addresses of this room's pages."""

from django.urls import path

from shared.web import views

app_name = "web"
urlpatterns = [path("favicon.ico", views.favicon, name="favicon")]
