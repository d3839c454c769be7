from django.apps import AppConfig


class WorkConfig(AppConfig):
    name = "jobs.work"
    label = "work"
    verbose_name = "Work"
