import json
from argparse import ArgumentParser
from dataclasses import asdict
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from jobs.walkthroughs.models import Notice, SentHow
from jobs.walkthroughs.selectors.kept import KeptCheck, kept_check
from jobs.walkthroughs.services import notice_send, print_pdf, record_read
from jobs.walkthroughs.services.notices import LANGUAGES
from shared import clock
from shared.errors import WalldayError
from shared.kept_files import FileChanged


class Command(BaseCommand):
    help = "Condition notices: check that all are as they were shown, reprint one, or send one where nobody was home."

    def add_arguments(self, parser: ArgumentParser) -> None:
        commands = parser.add_subparsers(dest="what", required=True)
        check = commands.add_parser("check", help="read everything again and compare digests; 1 where one differs")
        check.add_argument("--json", action="store_true")
        reprint = commands.add_parser("reprint", help="write the kept PDFs of a notice, byte for byte")
        reprint.add_argument("notice", type=int, help="its number")
        reprint.add_argument("--out", type=Path, default=Path(), metavar="FOLDER")
        send = commands.add_parser("send", help="nobody was home: send its link, or say that it was left on paper")
        send.add_argument("notice", type=int, help="its number")
        send.add_argument("--channel", choices=SentHow.values, default=SentHow.EMAIL.value, help="default: email")
        send.add_argument("--language", choices=LANGUAGES, default="", help="of the message; default: the customer's")
        send.add_argument("--note", default="", help="for the office, such as who was called")
        send.add_argument("--json", action="store_true")

    def handle(self, *args: Any, what: str, **options: Any) -> None:
        if what == "check":
            self._check(is_json=options["json"])
        elif what == "reprint":
            self._reprint(options["notice"], options["out"])
        else:
            self._send(options)

    def _check(self, *, is_json: bool) -> None:
        found = kept_check()
        if is_json:
            self.stdout.write(json.dumps(asdict(found)))
        else:
            counts = f"{found.notices} notices, {found.acknowledgements} acknowledgements, {found.pictures} pictures"
            self.stdout.write("\n".join([f"Read again: {counts}.", *_offline_lines(found), *found.problems]))
        if found.problems:
            raise CommandError(f"Not as it was written: {len(found.problems)}.")

    def _send(self, options: dict[str, Any]) -> None:
        notice, now = _named(options["notice"]), clock.now()
        how = {"sent_how": options["channel"], "note": options["note"], "language": options["language"]}
        try:
            row = notice_send(notice=notice, now=now, **how)
        except WalldayError as error:
            raise CommandError(error.message) from error
        is_new = row.at == now
        if options["json"]:
            found = {"notice": row.notice_id, "sent_how": row.sent_how, "at": row.at.isoformat(), "is_new": is_new}
            self.stdout.write(json.dumps(found | {"message": row.message_id}))
        elif is_new:
            self.stdout.write(f"Notice {row.notice_id} goes {SentHow(row.sent_how).label}. The work may start.")
        else:
            self.stdout.write(f"Notice {row.notice_id} went that way already, at {row.at:%Y-%m-%d %H:%M} UTC.")

    def _reprint(self, pk: int, folder: Path) -> None:
        notice = _named(pk)
        folder.mkdir(parents=True, exist_ok=True)
        try:
            for name, content in _pdfs(notice).items():
                (folder / name).write_bytes(content)
                self.stdout.write(str(folder / name))
        except (FileChanged, OSError) as error:
            raise CommandError(f"Not as it was written: {error}.") from error


def _named(pk: int) -> Notice:
    notice = Notice.objects.filter(pk=pk).first()
    if notice is None:
        raise CommandError(f"There is no notice {pk}.")
    return notice


def _offline_lines(found: KeptCheck) -> list[str]:
    if not found.offline:
        return []
    unsettled = [f"notice {pk}: the phone showed another text than ours, not settled" for pk in found.differing]
    return [f"Given without a signal: {found.offline} of the acknowledgements.", *unsettled]


def _pdfs(notice: Notice) -> dict[str, bytes]:
    """Every language of the notice, and the record of the acknowledgement where there is one."""
    pdfs = {f"notice-{notice.pk}-{row.language}.pdf": print_pdf(row) for row in notice.prints.all()}
    answer = getattr(notice, "acknowledgement", None)
    if answer is not None and answer.record_file:
        pdfs[f"acknowledgement-{notice.pk}.pdf"] = record_read(answer)
    return pdfs
