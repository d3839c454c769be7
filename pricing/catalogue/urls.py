"""Addresses of this room's pages."""

from django.urls import path

from pricing.catalogue import views

app_name = "catalogue"
urlpatterns = [
    path("rates/", views.rates, name="rates"),
    path("rates/target/", views.target_new, name="target_new"),
    path("rates/tax/", views.tax_new, name="tax_new"),
    path("rates/start/", views.start_card, name="start_card"),
]
