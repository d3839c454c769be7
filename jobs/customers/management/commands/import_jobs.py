from typing import Any

from django.core.management.base import BaseCommand, CommandParser

from jobs.customers.management import importing
from jobs.customers.services import import_jobs


class Command(BaseCommand):
    help = "Take in jobs, open and done, from CSV or XLSX. Leaves with 1 if rows were refused, 2 if the file was."

    def add_arguments(self, parser: CommandParser) -> None:
        importing.add_arguments(parser)
        parser.add_argument("--date-order", choices=["mdy", "dmy"], help="how 5/4/2026 is meant in this file")

    def handle(self, *args: Any, **options: Any) -> None:
        how = {"date_order": importing.date_order_of(options["date_order"])}
        importing.run(self, import_jobs, options, **how)
