"""Addresses of this room's pages."""

from django.urls import path

from pricing.costs import views

app_name = "costs"
urlpatterns = [
    path("wages/", views.wages, name="wages"),
    path("wages/bonus/", views.bonus, name="bonus"),
    path("wages/settings/", views.settings, name="settings"),
    path("mileage/", views.mileage, name="mileage"),
]
