import json
from datetime import date
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from pricing.catalogue.card_imports import card_import
from pricing.catalogue.domain.card_files import UnreadableCard, card_csv, card_json
from pricing.catalogue.models import RateCard
from pricing.catalogue.selectors import (
    CardVersion,
    card_content,
    card_versions,
    draft_card,
    rate_card_on,
    standing_cards,
)
from pricing.catalogue.services import card_withdraw, draft_begin, draft_put_in_force, draft_set
from pricing.catalogue.sheet import card_tongue
from pricing.catalogue.wording import changes_words
from pricing.estimates.preview import PreviewRow
from pricing.estimates.preview_words import past_summary, past_words, preview_summary, row_change_words
from pricing.estimates.views.previewing import card_preview, past_year
from shared import clock
from shared.company.selectors import company_get
from shared.errors import WalldayError
from shared.money import format_cents
from shared.web.present import today_here


class Command(BaseCommand):
    help = (
        "The rate card as a file, and the next one: export, import into the draft, preview, put in force; its "
        "versions, and to withdraw one that has not begun."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("what", choices=["export", "import", "preview", "in-force", "list", "withdraw"])
        parser.add_argument(
            "given", nargs="?", metavar="FILE|DATE", help="file to import; first day to put in force or to withdraw"
        )
        parser.add_argument("--draft", action="store_true", help="export the draft, not the card in force")
        parser.add_argument("--json", action="store_true", help="JSON instead of CSV or text")
        parser.add_argument("--dry-run", action="store_true", help="say what an import would change")
        parser.add_argument("--yes", action="store_true", help="withdraw without asking")
        parser.add_argument("--reason", default="", help="why a card is withdrawn")

    def handle(self, *args: Any, **options: Any) -> None:
        work = {
            "export": self._export, "import": self._import, "preview": self._preview, "in-force": self._in_force,
            "list": self._list, "withdraw": self._withdraw,
        }  # fmt: skip
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
        for words in changes_words(card_content(card=card), found.content, card_tongue()):
            self.stdout.write(words)
        if not options["dry_run"]:
            draft_set(draft=card, content=found.content, expected_version=card.version)
        self.stdout.write(f"{len(found.differences)} changes{' to come' * options['dry_run']}.")

    def _card(self, *, dry_run: bool) -> RateCard:
        present = draft_card() or (rate_card_on(on=today_here()) if dry_run else None)
        return present or draft_begin(today=today_here())

    def _preview(self, options: dict[str, Any]) -> None:
        draft, currency = _draft(), company_get().currency
        rows, past = card_preview(draft=draft), past_year(draft=draft)
        if options["json"]:
            data = {"waiting": [row.as_json() for row in rows], "past_year": [each.as_json() for each in past]}
            self.stdout.write(json.dumps(data, indent=2))
            return
        names = card_tongue()
        self.stdout.write(f"The last year. {past_summary(past, currency)}")
        for each in past:
            self.stdout.write(f"  {names.name(each.service_code)}, jobs {each.jobs}: {past_words(each, currency)}")
        self.stdout.write(preview_summary(rows, currency))
        for row in rows:
            self.stdout.write(f"  {_row_text(row, currency)}")

    def _in_force(self, options: dict[str, Any]) -> None:
        day, card = _day(options), _draft()
        draft_put_in_force(draft=card, effective_from=day, today=today_here(), expected_version=card.version)
        self.stdout.write(f"In force from {day} on.")

    def _list(self, options: dict[str, Any]) -> None:
        versions = card_versions(today=today_here())
        if options["json"]:
            self.stdout.write(json.dumps([_version_json(version) for version in versions], indent=2))
            return
        for version in versions:
            note = f"  {version.card.note}" if version.card.note else ""
            self.stdout.write(f"{version.card.effective_from}  {version.state.label}{note}")

    def _withdraw(self, options: dict[str, Any]) -> None:
        """The card that begins on a day; asks first unless told not to."""
        day, today = _day(options), today_here()
        card = standing_cards().filter(effective_from=day).first()
        if card is None:
            raise CommandError(f"No card begins on {day}.")
        if not options["yes"] and input(f"Withdraw the card from {day}? yes or no: ").strip().lower() != "yes":
            raise CommandError("Nothing was changed.")
        card_withdraw(card=card, today=today, now=clock.now(), expected_version=card.version, reason=options["reason"])
        self.stdout.write(f"The card from {day} is withdrawn; it stays in the list.")


def _day(options: dict[str, Any]) -> date:
    try:
        return date.fromisoformat(options["given"] or "")
    except ValueError as error:
        raise CommandError("Give its first day as 2026-03-01.") from error


def _version_json(version: CardVersion) -> dict[str, Any]:
    card = version.card
    return {"id": card.pk, "effective_from": card.effective_from.isoformat(), "state": version.state, "note": card.note}


def _draft() -> RateCard:
    card = draft_card()
    if card is None:
        raise CommandError("Nobody has begun the next rate card. Import a file to begin one.")
    return card


def _row_text(row: PreviewRow, currency: str) -> str:
    name = f"estimate {row.work.estimate}" if row.work.estimate else f"lead {row.work.job}"
    words = f"{name}, {row.work.place.address}: {row_change_words(row, currency)}"
    if not row.price_change_cents or row.before is None or row.after is None:
        return words
    prices = [format_cents(each.price_cents, currency) for each in (row.before, row.after)]
    return f"{words}, {prices[0]} -> {prices[1]}"
