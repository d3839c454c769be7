"""From an extract to the roads in use."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from django.db import transaction

from routing.roads.domain.graph import RoadGraph, road_graph_of
from routing.roads.domain.speeds import HourClass, hour_class_at
from routing.roads.errors import BadExtract
from routing.roads.models import DriveRow, RoadMap, RoadWay
from routing.roads.selectors import NOON, road_map_current, traffic_hours
from routing.roads.services.extract import Progress, extract_read
from routing.roads.services.store import graph_store, graphs_forget, overlay_fetch
from shared import clock
from shared.events.services import event_record

MAP_BUILT = "roads.map.built"


@dataclass(frozen=True, slots=True)
class BuildSteps:
    """Who is told how the work goes: objects read from the file, and the steps after that, in words."""

    reading: Progress = lambda _words, _count: None
    step: Callable[[str], None] = lambda _words: None


QUIET = BuildSteps()


def roads_build(*, path: Path, steps: BuildSteps = QUIET, actor: Any = None) -> RoadMap:
    """Make the graph of an extract and put it in use; the map before it stays in use until then, and on any error.

    Raises BadExtract where the file cannot be used.
    """
    raw = extract_read(path, progress=steps.reading)
    graph, counts = road_graph_of(raw, progress=steps.step)
    if not graph.streets.arcs or not len(graph.turns.turn_to):
        raise BadExtract(f"{path.name} holds no two roads that meet.")
    steps.step("storing")
    graph_store(graph)
    steps.step("ways through the cells")
    overlay_fetch(graph, _usual_hours())
    summary = {"kept": _kept(graph), "ignored": dict(raw.ignored), "counts": {k: v for k, v in counts.items() if v}}
    return _put_in_use(graph, path.name, summary, actor)


def _usual_hours() -> HourClass:
    return hour_class_at(traffic_hours(), NOON)


def _kept(graph: RoadGraph) -> dict[str, int]:
    streets = graph.streets
    return {
        "nodes": streets.nodes,
        "streets between two nodes": len(set(streets.arc_seg.tolist())),
        "arcs": streets.arcs,
        "turns": len(graph.turns.turn_to),
        "street names": len(set(streets.seg_name.tolist())),
        "metres": int(streets.seg_dm[list(set(streets.arc_seg.tolist()))].sum()) // 10,
    }


@transaction.atomic
def _put_in_use(graph: RoadGraph, source: str, summary: dict[str, Any], actor: Any) -> RoadMap:
    before = road_map_current()
    RoadMap.objects.filter(is_current=True).update(is_current=False)
    found, _is_new = RoadMap.objects.update_or_create(
        version=graph.version,
        defaults={
            "source": source,
            "built_at": clock.now(),
            "is_current": True,
            "nodes": graph.streets.nodes,
            "arcs": graph.streets.arcs,
            "summary": summary,
        },
    )
    keep = {graph.version} | ({before.version} if before else set())
    RoadMap.objects.exclude(version__in=keep).delete()
    for kept in (DriveRow, RoadWay):
        kept.objects.exclude(version__in=keep).delete()
    event_record(kind=MAP_BUILT, subject=found, actor=actor, data={"version": graph.version, "arcs": found.arcs})
    transaction.on_commit(lambda: graphs_forget(keep=keep))
    return found
