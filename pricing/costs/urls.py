"""Addresses of this room's pages."""

from django.urls import path

from pricing.costs import views

app_name = "costs"
urlpatterns = [path("wages/", views.wages, name="wages")]
