from django.apps import AppConfig


class PeopleConfig(AppConfig):
    name = "shared.people"
    label = "people"
    verbose_name = "People"
