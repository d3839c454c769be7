from django.apps import AppConfig


class EventsConfig(AppConfig):
    name = "shared.events"
    label = "events"
    verbose_name = "Events"
