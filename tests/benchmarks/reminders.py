# ruff: noqa: T201  printing tables is what this program is for
"""Everything that is promised of reminders, one table after the other.

    python -m tests.benchmarks.reminders [--quick]

    faults    killed workers, broken servers, gateways that answer late, twice, wrongly or not at all (outbox_faults)
    due list  the due list of a company with a million walls beside the plain join that it rests on (due_list)
    morning   50,000 messages due at nine in four zones, in the nights in which the clocks change (outbox_morning)
    spring    how full the crews are and how far they drive, against reminding everybody who is due (reminders_spring)

Each is a program of its own, which says what it measures and can be run alone. Here the two that want PostgreSQL get a
server of this program's own. In full they run one after the other, which takes about an hour; `--quick` runs small
versions two at a time in under 40 seconds. Exits 1 where one of them misses a target or cannot run.
"""

import argparse
import os
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

from tests.benchmarks.outbox_servers import Postgres, folder_of_our_own, missing_programs


@dataclass(frozen=True)
class Part:
    """One of the programs."""

    name: str
    module: str
    wants_postgres: bool = False


# The longest first, so that the quick ones fill what the waiting of the first leaves.
PARTS = (
    Part("faults", "outbox_faults"),
    Part("due list", "due_list", wants_postgres=True),
    Part("morning", "outbox_morning", wants_postgres=True),
    Part("spring", "reminders_spring"),
)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--quick", action="store_true", help="small versions, two at a time, under 40 seconds")
    quick = parser.parse_args().quick
    absent = missing_programs()
    if absent:
        print(f"Not on this machine: {', '.join(absent)}.")
        return 1
    began = time.monotonic()
    with folder_of_our_own() as folder:
        server = Postgres(folder / "postgres")
        try:
            missed = _run(server.url, quick=quick)
        finally:
            server.stop(rudely=True)
    print(f"{time.monotonic() - began:.0f} seconds; missed: {', '.join(missed) or 'nothing'}")
    return 1 if missed else 0


def _run(url: str, *, quick: bool) -> list[str]:
    """Names of the parts that missed a target."""
    with ThreadPoolExecutor(2 if quick else 1) as hands:
        ended = hands.map(lambda part: _run_part(part, url, quick=quick), PARTS)
        missed = []
        for part, program in zip(PARTS, ended, strict=True):
            print(f"== {part.name} ({part.module})\n{program.stdout}")
            if program.returncode:
                missed.append(part.name)
                print(program.stderr)
        return missed


def _run_part(part: Part, url: str, *, quick: bool) -> "subprocess.CompletedProcess[str]":
    env = {name: value for name, value in os.environ.items() if name != "WALLDAY_DATABASE_URL"}
    if part.wants_postgres:
        env["WALLDAY_DATABASE_URL"] = url
    command = [sys.executable, "-m", f"tests.benchmarks.{part.module}", *(["--quick"] if quick else [])]
    return subprocess.run(command, env=env, capture_output=True, text=True, check=False)


if __name__ == "__main__":
    sys.exit(main())
