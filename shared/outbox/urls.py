"""Addresses of this room's pages."""

from django.urls import path

from shared.outbox import views

app_name = "outbox"
urlpatterns = [
    path("messages/", views.message_list_page, name="message_list"),
    path("messages/switch/", views.switch, name="switch"),
    path("messages/limits/", views.limits, name="limits"),
    path("messages/blocked/", views.blocked, name="blocked"),
    path("messages/blocked/<row:blocked_id>/open/", views.blocked_open, name="blocked_open"),
    path("hooks/deliveries/", views.delivery_hook, name="delivery_hook"),
    path("messages/send/", views.send_waiting, name="send_waiting"),
    path("messages/<row:message_id>/", views.message, name="message"),
    path("messages/<row:message_id>/decision/", views.decide, name="decide"),
]
