from typing import Any

from django.core.management.base import BaseCommand, CommandParser

from shared import clock
from shared.outbox.services import messages_dispatch


class Command(BaseCommand):
    help = "Sends the messages whose time has come. Safe to repeat; the clock starts the same work by itself."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--limit", type=int, default=100, help="at most so many in this run (default 100)")

    def handle(self, *args: Any, **options: Any) -> None:
        result = messages_dispatch(now=clock.now(), limit=options["limit"], clock=clock.now)
        if not result.is_on:
            self.stdout.write("Sending is switched off; nothing leaves until it is switched on under Messages.")
        self.stdout.write(
            f"{result.sent} sent, {result.again} to try again, {result.later} wait for 8:00, {result.failed} failed, "
            f"{result.dropped} dropped, {result.unknown} of unknown result."
        )
