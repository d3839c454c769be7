"""Addresses of this room's pages."""

from django.urls import path

from jobs.chalking import views

app_name = "chalking"
urlpatterns = [
    path("chalk/", views.walls, name="walls"),
    path("chalk/walls.csv", views.walls_csv, name="walls_csv"),
    path("chalk/learnt/", views.learnt, name="learnt"),
    path("chalk/limit/", views.limit, name="limit"),
]
