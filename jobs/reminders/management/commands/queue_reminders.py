from typing import Any

from django.core.management.base import BaseCommand, CommandParser

from jobs.reminders.listing import DueSheet
from jobs.reminders.services import reminder_preview, reminders_queue
from jobs.reminders.wording import finding_words
from shared import clock
from shared.company.selectors import company_get


class Command(BaseCommand):
    help = "Queues a reminder to everybody on the due list who may be reminded now. Repeating it changes nothing."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--lead-days", type=int, help="days before the due date (default: the company's)")
        parser.add_argument("--limit", type=int, default=2000, help="at most so many due things (default 2000)")
        parser.add_argument("--everyone", action="store_true", help="they asked to hear: hold nobody back")
        parser.add_argument("--dry-run", action="store_true", help="print the messages and write nothing")

    def handle(self, *args: Any, **options: Any) -> None:
        now = clock.now()
        sheet = DueSheet(today=clock.local_date(company_get().timezone, now), lead_days=options["lead_days"])
        keys = sheet.ready_keys(most=options["limit"])
        if options["dry_run"]:
            self._show(keys, now, not options["everyone"])
            return
        result = reminders_queue(keys=keys, actor=None, now=now, hold_back=not options["everyone"])
        for skip in result.skipped:
            self.stdout.write(f"{skip.key}: {skip.reason}")
        self.stdout.write(
            f"{result.reminders} reminders queued in {len(result.message_ids)} messages, "
            f"{result.held_back} customers held back."
        )

    def _show(self, keys: list[str], now: Any, hold_back: bool) -> None:
        previews = reminder_preview(keys=keys, now=now, hold_back=hold_back)
        for draft in previews.drafts:
            self.stdout.write(f"--- {draft.channel} to {draft.recipient} ---\n{draft.subject}\n\n{draft.body}")
            for finding in draft.findings:
                self.stdout.write(f"{'Warning' if finding.is_warning else 'Refused'}: {finding_words(finding)}")
        for draft in previews.held_back:
            self.stdout.write(f"--- held back: {draft.customer_name} ---")
        self.stdout.write(
            f"{len(previews.drafts)} messages would be queued, {len(previews.held_back)} customers held back."
        )
