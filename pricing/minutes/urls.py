"""Addresses of this room's pages."""

from django.urls import path

from pricing.minutes import views

app_name = "minutes"
urlpatterns = [
    path("rates/minutes/", views.calibration, name="calibration"),
    path("rates/minutes/choice/", views.choose, name="choose"),
]
