"""Addresses of this room's pages."""

from django.urls import path

from pricing.earnings import views

app_name = "earnings"
urlpatterns = [
    path("earnings/", views.report, name="report"),
    path("earnings/csv/", views.report_file, name="report_file"),
]
