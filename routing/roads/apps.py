from django.apps import AppConfig


class RoadsConfig(AppConfig):
    name = "routing.roads"
    label = "roads"
    verbose_name = "Roads"
