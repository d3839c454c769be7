"""Addresses of this room's pages."""

from django.urls import path

from routing.roads import views

app_name = "roads"
urlpatterns = [
    path("traffic/", views.traffic, name="traffic"),
    path("traffic/restore/", views.traffic_restore, name="traffic_restore"),
]
