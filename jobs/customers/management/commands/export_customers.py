from typing import Any

from django.core.management.base import BaseCommand, CommandParser

from jobs.customers.management import exporting
from jobs.customers.services import export_customers


class Command(BaseCommand):
    help = "Write all customers in the shape that import_customers reads."

    def add_arguments(self, parser: CommandParser) -> None:
        exporting.add_arguments(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        exporting.run(self, export_customers, options)
