from typing import Any

from django.core.management.base import BaseCommand, CommandParser

from pricing.minutes.choices import PromisedMinutes, RouteMinutes
from pricing.minutes.selectors import minutes_choice_get
from pricing.minutes.services import minutes_choice_set


class Command(BaseCommand):
    help = "Say or choose which minutes routes reckon with, from the next plan on."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--promised", choices=PromisedMinutes.values, help="for jobs whose hours were promised")
        parser.add_argument("--routes", choices=RouteMinutes.values, help="where the mean comes from")

    def handle(self, *args: Any, **options: Any) -> None:
        choice = minutes_choice_get()
        if options["promised"] or options["routes"]:
            promised, routes = options["promised"] or choice.promised, options["routes"] or choice.routes
            choice = minutes_choice_set(promised=promised, routes=routes, actor=None)
        self.stdout.write(f"Jobs whose hours were promised: {choice.get_promised_display()}.")
        self.stdout.write(f"The mean comes from: {choice.get_routes_display()}.")
