"""Addresses of this room's pages."""

from django.urls import path

from pricing.triage import views

app_name = "triage"
urlpatterns = [
    path("leads/", views.leads, name="leads"),
    path("leads/<row:job_id>/decide/", views.decide, name="decide"),
]
