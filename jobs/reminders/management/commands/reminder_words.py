import json
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from jobs.reminders.models import OwnWords
from jobs.reminders.own_words import own_words_set
from shared import clock
from shared.errors import WalldayError


class Command(BaseCommand):
    help = (
        "Lists the owner's own sentences in reminders; with four names and --words keeps one, empty brings ours back."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "names", nargs="*", help="kind (or chalk), cause (interval, reading, forecast), language, channel"
        )
        parser.add_argument("--words", help="the sentence, with fields like {street}")
        parser.add_argument("--json", action="store_true", help="for programs")

    def handle(self, *args: Any, **options: Any) -> None:
        names = options["names"]
        if (len(names) == 4) != (options["words"] is not None) or len(names) not in (0, 4):
            raise CommandError("Name kind, cause, language and way, and give --words; or nothing to list them.")
        if names:
            self._set(names, options["words"])
        fields = ("kind", "cause", "language", "channel", "words")
        rows = list(OwnWords.objects.values(*fields))
        if options["json"]:
            self.stdout.write(json.dumps(rows, ensure_ascii=False))
            return
        for row in rows:
            self.stdout.write("{kind} {cause} {language} {channel}: {words}".format(**row))
        self.stdout.write(f"{len(rows)} own sentences; for everything else ours stand.")

    def _set(self, names: list[str], words: str) -> None:
        kind, cause, language, channel = names
        try:
            own_words_set(
                kind=kind, cause=cause, language=language, channel=channel, words=words, actor=None, now=clock.now()
            )
        except WalldayError as error:
            raise CommandError(error.message) from error
