import json
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from pricing.estimates.choices import SentBy
from pricing.estimates.models import SentEstimate
from pricing.estimates.selectors import estimate_get
from pricing.estimates.services import estimate_send
from shared import clock
from shared.errors import WalldayError
from shared.web.present import today_here


class Command(BaseCommand):
    help = "Estimates that are there already: freeze one and give it out. `estimate` reckons a new one."

    def add_arguments(self, parser: CommandParser) -> None:
        commands = parser.add_subparsers(dest="what", required=True)
        send = commands.add_parser("send", help="freeze it, print it and give it out with its link")
        send.add_argument("estimate", type=int, help="its number")
        send.add_argument("--channel", choices=SentBy.values, default=SentBy.EMAIL.value, help="default: email")
        send.add_argument("--json", action="store_true")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            row = estimate_get(pk=options["estimate"])
            sent = estimate_send(estimate=row, sent_how=options["channel"], now=clock.now(), today=today_here())
        except WalldayError as error:
            raise CommandError(error.message) from error
        self.stdout.write(json.dumps(_as_json(sent)) if options["json"] else _as_text(sent))


def _as_json(sent: SentEstimate) -> dict[str, Any]:
    return {
        "estimate": sent.estimate_id,
        "revision": sent.revision,
        "how": sent.sent_how,
        "valid_until": sent.valid_until.isoformat(),
        "messages": sorted(sent.messages.values_list("message_id", flat=True)),
    }


def _as_text(sent: SentEstimate) -> str:
    return (
        f"Estimate {sent.estimate_id} is given out {SentBy(sent.sent_how).label}, version {sent.revision}, "
        f"valid until {sent.valid_until}."
    )
