from django.apps import AppConfig


class MixingConfig(AppConfig):
    name = "jobs.mixing"
    label = "mixing"
    verbose_name = "Products and mixes"
