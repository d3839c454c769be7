"""Addresses of this room's pages."""

from django.urls import URLPattern

urlpatterns: list[URLPattern] = []
