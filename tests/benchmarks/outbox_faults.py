# ruff: noqa: T201  printing tables is what this program is for
"""What becomes of messages when everything around them breaks.

    python -m tests.benchmarks.outbox_faults [--quick] [--seed N]

Reminders and notes are written while worker processes are killed at random moments, Redis forgets everything, the
database crashes and recovers, the office throws the switch and sends again what nobody knows, people opt out, and the
text gateway and the mail server answer late, twice, wrongly or not at all. Servers, database and stand-ins are the
program's own, on this machine only. Takes about 20 minutes. Prints what was done and what came of it; exits 1 where a
promise was broken.
"""

import argparse
import os
import random
import sys
import threading
import time
from collections import Counter
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import django

from tests.benchmarks.outbox_servers import Postgres, Redis, Worker, folder_of_our_own, missing_programs, wait_for
from tests.benchmarks.outbox_stand_ins import Ledger, MailServer, TextGateway

if TYPE_CHECKING:
    from tests.benchmarks.outbox_office import Office

LONGEST_PAUSE_SECONDS = 0.8


@dataclass(frozen=True)
class Size:
    """How much is done: people who are written to, kills, and how many kills lie between two other troubles."""

    people: int
    kills: int
    workers: int
    whole_worker_every: int
    redis_every: int
    database_every: int
    switch_every: int
    with_silence: bool


QUICK = Size(60, 14, 1, 14, 5, 9, 6, with_silence=False)
LONG = Size(1_800, 300, 2, 12, 14, 11, 19, with_silence=True)


class World:
    """The servers, the workers and the stand-ins; each trouble is a method."""

    def __init__(self, folder: Path, size: Size, seed: int, ends: ExitStack) -> None:
        self.size, self.dice = size, random.Random(seed)
        self.done: Counter[str] = Counter()
        self.ledger = Ledger(seed, with_silence=size.with_silence)
        self.gateway, self.mail_server = TextGateway(self.ledger), MailServer(self.ledger)
        for server in (self.gateway, self.mail_server):
            threading.Thread(target=server.serve_forever, daemon=True).start()
            ends.callback(server.server_close)
            ends.callback(server.shutdown)
        self.postgres = Postgres(folder / "postgres")
        ends.callback(self.postgres.stop, rudely=True)
        self.redis = Redis(folder)
        ends.callback(self.redis.stop)
        self.env = self._environment(folder)
        self.workers = [
            Worker(
                number,
                self.env | {"DJANGO_SETTINGS_MODULE": "config.settings.production"},
                folder / f"worker-{number}.log",
            )
            for number in range(size.workers)
        ]
        ends.callback(self.end_workers)
        self.trouble = ThreadPoolExecutor(1)  # one at a time, while the office goes on
        ends.callback(self.trouble.shutdown)

    def _environment(self, folder: Path) -> dict[str, str]:
        """What the processes of the full set-up are given, and nothing of ours."""
        clean = {name: value for name, value in os.environ.items() if not name.startswith(("WALLDAY_", "DJANGO_"))}
        return clean | {
            "WALLDAY_DATA": str(folder / "data"),
            "WALLDAY_SECRET_KEY": "only for a run of faults, and for nothing that leaves it",
            "WALLDAY_HOSTS": "testserver",
            "WALLDAY_SITE_URL": "https://wash.example.com",
            "WALLDAY_DATABASE_URL": self.postgres.url,
            "WALLDAY_REDIS_URL": self.redis.url,
            "WALLDAY_BACKGROUND": "celery",
            "WALLDAY_MAIL": "smtp",
            "WALLDAY_SMTP_URL": self.mail_server.url,
            "WALLDAY_TEXT": "gateway",
            "WALLDAY_TEXT_URL": self.gateway.url,
        }

    def are_ready(self) -> bool:
        return len(self.ready_workers()) == len(self.workers)

    def ready_workers(self) -> list[Worker]:
        for worker in self.workers:
            worker.start_again_if_ended()
        return [worker for worker in self.workers if worker.is_ready()]

    def kill_somebody(self) -> None:
        """Mostly a process that does tasks, sometimes a worker with all that it has."""
        wait_for(lambda: bool(self.ready_workers()), "a worker to be ready")
        worker = self.dice.choice(self.ready_workers() or self.workers)
        self.done["processes killed"] += 1
        if self.done["processes killed"] % self.size.whole_worker_every == 0:
            worker.kill_all()
            worker.start()
            self.done["of them whole workers"] += 1
        else:
            worker.kill_hand(self.dice.choice(worker.hands() or [worker.process.pid]))

    def restart_redis(self) -> None:
        self.redis.stop()
        time.sleep(self.dice.uniform(0.1, 2.0))
        self.redis.start()
        self.done["Redis stopped and started, empty"] += 1

    def restart_database(self) -> None:
        rudely = not self.done["database restarted"] or self.dice.random() < 0.7
        self.postgres.stop(rudely=rudely)
        time.sleep(self.dice.uniform(0.1, 2.0))
        self.postgres.start()
        self.done["database restarted"] += 1
        self.done["of them as after a crash"] += rudely

    def end_workers(self) -> None:
        for worker in self.workers:
            worker.end()


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--quick", action="store_true", help="few people and few kills, under 40 seconds")
    parser.add_argument("--seed", type=int, default=1, help="of the dice; the processes' timing is never the same")
    arguments = parser.parse_args()
    absent = missing_programs()
    if absent:
        print(f"Not on this machine: {', '.join(absent)}.")
        return 1
    with folder_of_our_own() as folder, ExitStack() as ends:
        return _run(World(folder, QUICK if arguments.quick else LONG, arguments.seed, ends))


def _run(world: World) -> int:
    """Django is loaded here and not before, since its settings name the servers that were just started."""
    for name in [name for name in os.environ if name.startswith(("WALLDAY_", "DJANGO_"))]:
        del os.environ[name]
    os.environ.update(world.env | {"DJANGO_SETTINGS_MODULE": "config.settings.embedded"})
    django.setup()
    from tests.benchmarks.outbox_office import Office, set_up_company

    office = Office(set_up_company(world.size.people), world.dice)
    wait_for(world.are_ready, "the workers to be ready")
    began = time.monotonic()
    _everything_breaks(world, office)
    _everything_works_again(world, office)
    print(f"{time.monotonic() - began:.0f} seconds, {len(office.people)} people")
    return _report(world, office)


def _everything_breaks(world: World, office: "Office") -> None:
    size, batch = world.size, -(-world.size.people // world.size.kills)
    troubles: list[Future[None]] = []
    for number in range(1, size.kills + 1):
        office.write_to_the_next(batch)
        office.take_opt_outs()
        if number % size.switch_every == 0:
            office.throw_the_switch(world.dice.uniform(0.4, 0.8))
            office.send_unknown_texts_again()
        office.tick()
        time.sleep(world.dice.uniform(0, LONGEST_PAUSE_SECONDS))
        world.kill_somebody()
        if number % size.redis_every == 0:
            troubles.append(world.trouble.submit(world.restart_redis))
        if number % size.database_every == 0:
            troubles.append(world.trouble.submit(world.restart_database))
    for trouble in troubles:
        trouble.result()


def _everything_works_again(world: World, office: "Office") -> None:
    """Until all that may go has gone; the minutes between two attempts are not waited for."""
    world.ledger.calm.set()

    def nothing_waits() -> bool:
        world.ready_workers()
        office.hasten()
        office.tick()
        time.sleep(0.5)
        return not office.waiting()

    wait_for(nothing_waits, "the messages that wait")
    world.end_workers()


def _report(world: World, office: "Office") -> int:
    from tests.benchmarks.outbox_promises import broken_promises

    manners = Counter(f"{each.channel}: {each.manner.name}" for each in world.ledger.handed)
    _table("what was done", {"messages written": len(office.written)} | world.done | office.done | manners)
    _table("what the messages came to", office.states())
    broken = broken_promises(office, world.ledger.handed)
    _table("what must not be (target: 0 of each)", {name: len(found) for name, found in broken.items()})
    for name, found in broken.items():
        for each in found[:5]:
            print(f"missed: {name}: {each}")
    return 1 if any(broken.values()) else 0


def _table(title: str, counts: dict[str, int]) -> None:
    print(f"\n| {title} | number |\n|---|---|")
    for name, count in counts.items():
        print(f"| {name} | {count} |")


if __name__ == "__main__":
    sys.exit(main())
