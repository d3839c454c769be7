from django.apps import AppConfig


class RemindersConfig(AppConfig):
    name = "jobs.reminders"
    label = "reminders"
    verbose_name = "Reminders"
