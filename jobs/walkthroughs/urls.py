"""Addresses of this room's pages."""

from django.urls import path

from jobs.walkthroughs import views

app_name = "walkthroughs"
urlpatterns = [path("walls/<row:wall_id>/", views.wall, name="wall")]
