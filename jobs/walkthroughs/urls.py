"""Addresses of this room's pages."""

from django.urls import path

from jobs.walkthroughs.views import walls

app_name = "walkthroughs"
urlpatterns = [path("walls/<row:wall_id>/", walls.wall, name="wall")]
