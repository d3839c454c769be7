import json
from datetime import date
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from pricing.catalogue.card_imports import card_import
from pricing.catalogue.domain.card_files import UnreadableCard, card_csv, card_json
from pricing.catalogue.models import RateCard
from pricing.catalogue.selectors import card_content, draft_card, rate_card_on
from pricing.catalogue.services import draft_begin, draft_put_in_force, draft_set
from pricing.estimates.preview import PreviewRow
from pricing.estimates.views.previewing import card_preview
from shared.company.selectors import company_get
from shared.errors import WalldayError
from shared.money import format_cents
from shared.web.present import today_here


class Command(BaseCommand):
    help = "The rate card as a file, and the next one: export, import into the draft, preview, put in force."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("what", choices=["export", "import", "preview", "in-force"])
        parser.add_argument("given", nargs="?", metavar="FILE|DATE", help="file to import; first day to put in force")
        parser.add_argument("--draft", action="store_true", help="export the draft, not the card in force")
        parser.add_argument("--json", action="store_true", help="JSON instead of CSV or text")
        parser.add_argument("--dry-run", action="store_true", help="say what an import would change")

    def handle(self, *args: Any, **options: Any) -> None:
        work = {"export": self._export, "import": self._import, "preview": self._preview, "in-force": self._in_force}
        try:
            work[options["what"]](options)
        except WalldayError as error:
            raise CommandError(error.message) from error

    def _export(self, options: dict[str, Any]) -> None:
        card = draft_card() if options["draft"] else rate_card_on(on=today_here())
        if card is None:
            raise CommandError("There is no such card.")
        content = card_content(card=card)
        self.stdout.write(json.dumps(card_json(content), indent=2) if options["json"] else card_csv(content), ending="")

    def _import(self, options: dict[str, Any]) -> None:
        """Into the draft, which is begun where there is none; a dry run without one reads against the card in force."""
        try:
            data = Path(options["given"] or "").read_bytes()
        except OSError as error:
            raise CommandError(f"The file cannot be read: {error.strerror}.") from error
        card = self._card(dry_run=options["dry_run"])
        try:
            found = card_import(data=data, card=card)
        except UnreadableCard as error:
            raise CommandError(str(error)) from error
        for fault in found.faults:
            self.stderr.write(f"row {fault.row} {fault.column}: {fault.problem}")
        if found.faults:
            raise CommandError(f"{len(found.faults)} faults; nothing was changed.")
        for each in found.differences:
            self.stdout.write(f"{each.part} {each.of}, {each.column}: {each.before} -> {each.after}")
        if not options["dry_run"]:
            draft_set(draft=card, content=found.content, expected_version=card.version)
        self.stdout.write(f"{len(found.differences)} changes{' to come' * options['dry_run']}.")

    def _card(self, *, dry_run: bool) -> RateCard:
        present = draft_card() or (rate_card_on(on=today_here()) if dry_run else None)
        return present or draft_begin(today=today_here())

    def _preview(self, options: dict[str, Any]) -> None:
        rows = card_preview(draft=_draft())
        if options["json"]:
            self.stdout.write(json.dumps([row.as_json() for row in rows], indent=2))
            return
        for row in rows:
            self.stdout.write(_row_text(row))

    def _in_force(self, options: dict[str, Any]) -> None:
        try:
            day = date.fromisoformat(options["given"] or "")
        except ValueError as error:
            raise CommandError("Give its first day as 2026-03-01.") from error
        card = _draft()
        draft_put_in_force(draft=card, effective_from=day, today=today_here(), expected_version=card.version)
        self.stdout.write(f"In force from {day} on.")


def _draft() -> RateCard:
    card = draft_card()
    if card is None:
        raise CommandError("Nobody has begun the next rate card. Import a file to begin one.")
    return card


def _row_text(row: PreviewRow) -> str:
    work, currency = row.work, company_get().currency
    name = f"estimate {work.estimate}" if work.estimate else f"lead {work.job}"
    if row.before is None or row.after is None:
        return f"{name}, {work.place.address}: {row.problem}"
    before, after = row.before, row.after
    hours = [format_cents(each.earned_cents_per_crew_hour or 0, currency) for each in (before, after)]
    return (
        f"{name}, {work.place.address}: {before.minutes} -> {after.minutes} min, "
        f"{format_cents(before.price_cents, currency)} -> {format_cents(after.price_cents, currency)}, "
        f"{hours[0]} -> {hours[1]} per crew-hour"
    )
