from typing import Any

from django.core.management.base import BaseCommand, CommandParser

from jobs.customers.management import importing
from jobs.customers.services import import_customers


class Command(BaseCommand):
    help = "Take in customers and properties from CSV or XLSX. Leaves with 1 if rows were refused, 2 if the file was."

    def add_arguments(self, parser: CommandParser) -> None:
        importing.add_arguments(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        importing.run(self, import_customers, options)
