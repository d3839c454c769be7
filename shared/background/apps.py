from importlib import import_module
from importlib.util import find_spec

from django.apps import AppConfig, apps


class BackgroundConfig(AppConfig):
    name = "shared.background"
    label = "background"
    verbose_name = "Background"

    def ready(self) -> None:
        """Load every room's tasks.py, so that each task is known by name in every process."""
        for room in apps.get_app_configs():
            if find_spec(f"{room.name}.tasks") is not None:
                import_module(f"{room.name}.tasks")
