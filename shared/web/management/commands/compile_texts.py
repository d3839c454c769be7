from typing import Any

from django.core.management.base import BaseCommand

from shared.web.texts import compile_all


class Command(BaseCommand):
    help = "Compiles the translations (.po) for Django (.mo), without gettext's tools. Run after changing a text."

    def handle(self, *args: Any, **options: Any) -> None:
        for path in compile_all():
            self.stdout.write(f"compiled {path.name} of {path.parent.parent.name}")
