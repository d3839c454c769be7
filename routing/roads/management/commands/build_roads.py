import time
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from tqdm import tqdm

from routing.roads.models import RoadMap
from routing.roads.services.build import BuildSteps, roads_build
from shared.errors import WalldayError


class Command(BaseCommand):
    help = (
        "Reads an OpenStreetMap extract (.osm.pbf, .osm, .osm.bz2) and plans every day from then on over its roads. "
        "The roads in use before stay in use until the new ones are complete, and where the file cannot be read."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", type=Path, metavar="FILE.osm.pbf", help="the extract")

    def handle(self, *args: Any, **options: Any) -> None:
        began = time.perf_counter()
        with tqdm(unit=" objects", desc="reading", disable=None, file=self.stderr) as bar:

            def reading(words: str, count: int) -> None:
                bar.set_description_str(f"reading {words}", refresh=False)
                bar.update(count)

            def step(words: str) -> None:
                bar.set_description_str(words)

            try:
                built = roads_build(path=options["file"], steps=BuildSteps(reading, step))
            except WalldayError as error:
                raise CommandError(error.message) from error
        self.stdout.write(self._text(built, time.perf_counter() - began))

    def _text(self, built: RoadMap, seconds: float) -> str:
        lines = [f"Roads of {built.source}, version {built.version}, in {seconds:.1f} s."]
        for title, part in (("Kept", "kept"), ("Counted", "counts"), ("Ignored", "ignored")):
            lines.append(f"{title}:")
            lines += [f"  {count:>10,}  {words}" for words, count in sorted(built.summary[part].items(), key=_by_count)]
        return "\n".join(lines)


def _by_count(item: tuple[str, int]) -> tuple[int, str]:
    return -item[1], item[0]
