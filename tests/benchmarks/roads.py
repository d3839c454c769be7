# ruff: noqa: T201  printing tables is what this program is for
"""Drive times over half a million crossings: building the graph, a matrix beside Valhalla's service, one new place.

    WALLDAY_TEST_VALHALLA=FOLDER python -m tests.benchmarks.roads [--quick] [--only country|worth]

The country is invented and written as an OpenStreetMap extract (`tests/routing/roads/country.py`); how to get
Valhalla's executables stands in `tests/routing/roads/valhalla_peer.py`. Where they are missing its columns are empty.
Both are asked for the same places, 150 of them, all in turn in one run, other ones in each round; ours is the
whole table of a plan, joining the places to their streets included, theirs the answer to one request. Then the demo's
days are planned on great-circle distances and driven over the roads (`roads_worth`). The quick run has a small
country and leaves the demo's days out.

Exits 1 where a target is missed: the graph in MOST_MINUTES and MOST_MB; no slower than Valhalla; one new place for
at most 5 % of the whole matrix (10 % of the quick run's small one).
"""

import argparse
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from scipy.stats import spearmanr

from tests.routing.roads.country import write_country
from tests.routing.roads.land import write_land
from tests.routing.roads.valhalla_peer import Point, Valhalla, valhalla_folder, valhalla_running

MOST_MINUTES, MOST_MB, MOST_TIMES = 2.0, 2_000, 1.0
NEAR_KM = 25.0
SEED = 12
Taken = tuple[float, float]
"""Seconds on the clock, and of the processor."""
Ask = Callable[[list[Point]], Any]
Clock = Callable[[], float]
New = tuple[str, float, float]
"""What was measured, seconds for the whole matrix, seconds for one new place."""
MANAGE = Path(__file__).parents[2] / "manage.py"


@dataclass(frozen=True, slots=True)
class Size:
    """Towns by towns of side by side crossings; how many places a matrix has, and how often each is asked;
    the most that one new place may take of the whole matrix, which of 50 places is 4 % at the least."""

    towns: int
    side: int
    places: int
    rounds: int
    most_new_share: float


FULL, QUICK = Size(10, 76, 150, 2, 0.05), Size(3, 24, 50, 1, 0.10)


@dataclass(frozen=True, slots=True)
class Build:
    """`seconds` on the clock, `cpu_seconds` of all threads; `megabytes` at the peak of the whole process."""

    seconds: float
    cpu_seconds: float
    megabytes: float


@dataclass(frozen=True, slots=True)
class Race:
    """Seconds on the clock and of the processor for all pairs of some places by who was asked, the middle of all
    rounds; and in the last round our drive times over Valhalla's (median), their rank correlation, and the pairs that
    only one can drive."""

    name: str
    seconds: dict[str, Taken]
    ratio: float = 1.0
    rank: float = 1.0
    by_one: int = 0


def main(arguments: Sequence[str]) -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--quick", action="store_true")
    parser.add_argument("--only", choices=["country", "worth"])
    options = parser.parse_args(arguments)
    misses: list[str] = []
    with tempfile.TemporaryDirectory() as folder:
        os.environ.update(WALLDAY_DATA=folder, DJANGO_SETTINGS_MODULE="config.settings.embedded")
        if options.only in (None, "country"):
            misses += run_country(Path(folder), QUICK if options.quick else FULL)
        if options.only == "worth" or (options.only is None and not options.quick):
            from tests.benchmarks.roads_worth import run_worth

            run_worth()
    print("\n".join(f"missed: {miss}" for miss in misses) or "\nall targets met")
    return 1 if misses else 0


def run_country(folder: Path, size: Size) -> list[str]:
    """Prints the tables; the targets missed."""
    extract = folder / "country.osm.pbf"
    crossings = write_country(extract, towns=size.towns, side=size.side)
    print(f"a country of {size.towns**2} towns, {crossings:,} crossings, {extract.stat().st_size / 1e6:.1f} MB\n")
    build = _built(folder, extract)
    peer = valhalla_folder()
    if peer is None:
        print("Valhalla is missing (WALLDAY_TEST_VALHALLA): its columns are empty.\n")
        return _measured(build, None, size)
    with valhalla_running(peer, extract, folder / "valhalla") as valhalla:
        return _measured(build, valhalla, size)


def _built(folder: Path, extract: Path) -> Build:
    """The roads of the extract in use. A few streets are built before, so that nothing is compiled meanwhile."""
    write_land(folder / "first.osm.pbf", crossings=900)
    for arguments in (["migrate", "--verbosity", "0"], ["build_roads", str(folder / "first.osm.pbf")]):
        subprocess.run([sys.executable, MANAGE, *arguments], check=True, stdout=subprocess.DEVNULL)
    began = time.perf_counter()
    pid = os.spawnv(os.P_NOWAIT, sys.executable, [sys.executable, str(MANAGE), "build_roads", str(extract)])
    _pid, status, used = os.wait4(pid, 0)
    assert os.waitstatus_to_exitcode(status) == 0, "build_roads failed"
    return Build(time.perf_counter() - began, used.ru_utime + used.ru_stime, used.ru_maxrss / 1024)


def _measured(build: Build, valhalla: Valhalla | None, size: Size) -> list[str]:
    import django

    django.setup()
    from routing.roads.selectors import road_map_current
    from routing.roads.services.over_roads import roads_in_use

    current, roads = road_map_current(), roads_in_use()
    assert current is not None
    assert roads is not None
    _print_build(current, build, valhalla)
    ask = _asked(roads.graph, valhalla)
    cpu = {"Valhalla": valhalla.cpu_seconds} if valhalla else {}
    spreads = (("all over the country", None), (f"within {NEAR_KM:.0f} km of its middle", NEAR_KM))
    _print_heads(size)
    races = [_race(name, km, roads.graph, ask, cpu, size) for name, km in spreads]
    news = [_new_in_memory(roads.graph, size), _new_in_database(roads.graph, size)]
    _print_news(news, size)
    misses = [*_build_misses(build), *(miss for race in races for miss in _race_misses(race))]
    name, whole, new = news[0]
    return [*misses, f"{name}: {new / whole:.1%} for one new place"] if new > size.most_new_share * whole else misses


def _print_build(current: Any, build: Build, valhalla: Valhalla | None) -> None:
    tiles = f"{valhalla.build_seconds:.1f}" if valhalla else ""
    print("| nodes | arcs | build s | processor s | peak MB | Valhalla's tiles s |\n|---|---|---|---|---|---|")
    print(
        f"| {current.nodes:,} | {current.arcs:,} | {build.seconds:.1f} | {build.cpu_seconds:.1f} | "
        f"{build.megabytes:,.0f} | {tiles} |\n",
        flush=True,
    )


def _build_misses(build: Build) -> Iterator[str]:
    if build.seconds > MOST_MINUTES * 60:
        yield f"the build took {build.seconds:.0f} s"
    if build.megabytes > MOST_MB:
        yield f"the build took {build.megabytes:,.0f} MB"


def _asked(graph: Any, valhalla: Valhalla | None) -> dict[str, Ask]:
    """Who is asked for a table: "ours", the same on one thread, and Valhalla where it is there."""
    from routing.roads.domain.graph import RoadGraph
    from routing.roads.domain.router import Router
    from routing.roads.domain.speeds import FREE
    from routing.roads.services.over_roads import Roads
    from routing.roads.services.store import overlay_fetch

    router = Router(graph.streets, graph.turns, graph.codes, overlay_fetch(graph, FREE), threads=1)
    alone = RoadGraph(graph.streets, graph.turns, graph.codes, graph.depth, {FREE.key: router})
    asked: dict[str, Ask] = {"ours": Roads(graph, "roads").table, "one thread": Roads(alone, "roads").table}
    return asked | ({"Valhalla": valhalla.matrix} if valhalla else {})


def _race(
    name: str, within_km: float | None, graph: Any, asked: dict[str, Ask], cpu: dict[str, Clock], size: Size
) -> Race:
    """All ask for the same places in turn, other ones in each round, so that nobody knows them from before."""
    from routing.roads.domain.speeds import FREE
    from tests.routing.roads.against_valhalla import places_on

    taken: dict[str, list[Taken]] = {who: [] for who in asked}
    answers: dict[str, Any] = {}
    for number in range(size.rounds + 1):
        places = places_on(graph, size.places, SEED + number, within_km=within_km)
        for who, ask in asked.items():
            processor = cpu.get(who, time.process_time)
            began, used = time.perf_counter(), processor()
            answers[who] = ask(places)
            taken[who].append((time.perf_counter() - began, processor() - used))
    middle = {who: _middle(each[1:]) for who, each in taken.items()}
    ours = graph.router(FREE).costs(*[[graph.snap(place) for place in places]] * 2)[0] / 1000
    told = _agreement(ours, np.array(answers["Valhalla"][0], float)) if "Valhalla" in answers else ()
    race = Race(name, middle, *told)
    _print_race(race)
    return race


def _middle(taken: Sequence[Taken]) -> Taken:
    clock, processor = np.median(taken, axis=0)
    return float(clock), float(processor)


def _agreement(ours: np.ndarray, theirs: np.ndarray) -> tuple[float, float, int]:
    """Median of our times over theirs, rank correlation, and how many pairs only one can drive."""
    apart = ~np.eye(len(ours), dtype=bool)
    both = apart & (ours > 0) & (theirs > 0)
    one = apart & ((ours < 0) != np.isnan(theirs))
    return float(np.median(ours[both] / theirs[both])), float(spearmanr(ours[both], theirs[both])[0]), int(one.sum())


def _print_heads(size: Size) -> None:
    heads = ("ours", "on one thread", "Valhalla", "ours / Valhalla", "times", "rank", "one only")
    print(f"| {size.places} x {size.places}, seconds (of processor) | {' | '.join(heads)} |")
    print("|---" * 8 + "|", flush=True)


def _print_race(race: Race) -> None:
    taken = {who: f"{clock:.2f} ({processor:.2f})" for who, (clock, processor) in race.seconds.items()}
    line = f"| {race.name} | {taken['ours']} | {taken['one thread']} | {taken.get('Valhalla', '')} |"
    if "Valhalla" in taken:
        line += f" {_times(race, 0):.3f} ({_times(race, 1):.3f}) | {race.ratio:.3f} | {race.rank:.3f} | {race.by_one} |"
    print(line, flush=True)


def _times(race: Race, which: int) -> float:
    """How many times as long as Valhalla ours took, on the clock (0) or of the processor (1)."""
    return race.seconds["ours"][which] / race.seconds["Valhalla"][which]


def _race_misses(race: Race) -> Iterator[str]:
    if "Valhalla" in race.seconds and _times(race, 0) > MOST_TIMES:
        yield f"{race.name}: {_times(race, 0):.2f} times as long as Valhalla"


def _new_in_memory(graph: Any, size: Size) -> New:
    """The whole matrix, and a row and a column of one place that was not asked for before."""
    from routing.roads.domain.speeds import FREE

    router = graph.router(FREE)
    whole, new = [], []
    for snaps in _unknown(graph, size):
        known, last = snaps[:-1], snaps[-1:]
        whole.append(_seconds(router.costs, known, known))
        new.append(_seconds(router.costs, last, known) + _seconds(router.costs, known, last))
    return "searched", float(np.median(whole)), float(np.median(new))


def _new_in_database(graph: Any, size: Size) -> New:
    """As planning a day asks: the whole table with nothing known and everything kept, then with one place more."""
    from routing.roads.services.drive import drive_table
    from tests.routing.roads.against_valhalla import places_on

    whole, new = [], []
    for number in range(size.rounds):
        places = places_on(graph, size.places + 1, SEED + 200 + number)
        whole.append(_seconds(drive_table, places[:-1]))
        new.append(_seconds(drive_table, places))
    return "searched and kept in the database", float(np.median(whole)), float(np.median(new))


def _unknown(graph: Any, size: Size) -> Iterator[list[Any]]:
    from tests.routing.roads.against_valhalla import places_on

    for number in range(size.rounds):
        yield [graph.snap(place) for place in places_on(graph, size.places + 1, SEED + 100 + number)]


def _seconds(work: Callable[..., object], *asked: Any) -> float:
    began = time.perf_counter()
    work(*asked)
    return time.perf_counter() - began


def _print_news(news: Sequence[New], size: Size) -> None:
    print(f"\n| one new place beside {size.places} | whole matrix ms | new row and column ms | share % |")
    print("|---|---|---|---|")
    for name, whole, new in news:
        print(f"| {name} | {1000 * whole:,.0f} | {1000 * new:,.1f} | {100 * new / whole:.1f} |", flush=True)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
