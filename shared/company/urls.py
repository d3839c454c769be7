"""The owner's page of the firm."""

from django.urls import path

from shared.company import views

app_name = "company"
urlpatterns = [path("company/", views.company, name="company")]
