from django.apps import AppConfig


class WalkthroughsConfig(AppConfig):
    name = "jobs.walkthroughs"
    label = "walkthroughs"
    verbose_name = "Walkthroughs"
