"""Addresses of this room's API."""

from django.urls import URLPattern

urlpatterns: list[URLPattern] = []
