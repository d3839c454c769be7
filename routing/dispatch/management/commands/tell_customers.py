from typing import Any

from django.core.management.base import BaseCommand

from routing.dispatch.services import customers_tell
from shared import clock


class Command(BaseCommand):
    help = "Writes to the customers of today and tomorrow when the crew comes. Repeating it changes nothing."

    def handle(self, *args: Any, **options: Any) -> None:
        self.stdout.write(f"{customers_tell(now=clock.now())} messages written.")
