"""Road graphs as files in the data folder: one folder for each version, written aside and put in place at once."""

import json
import os
import shutil
import tempfile
from dataclasses import fields
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from django.conf import settings

from routing.roads.domain.graph import FORMAT, RoadGraph, arrays_of
from routing.roads.domain.kernel import Edges, Levels
from routing.roads.domain.network import Streets
from routing.roads.domain.overlay import Overlay, turned_edges
from routing.roads.domain.speeds import HourClass
from routing.roads.domain.turns import TurnGraph
from shared.errors import NotFound


def graph_store(graph: RoadGraph) -> None:
    """Write the graph under its version; the same version is the same graph."""
    folder = _folder(graph.version)
    if (folder / "graph.npz").exists():
        return
    head = json.dumps({"format": FORMAT, "depth": graph.depth, "names": graph.streets.names}).encode()
    _write(folder / "graph.npz", arrays_of(graph) | {"head": np.frombuffer(head, np.uint8)})


@lru_cache(maxsize=2)
def graph_load(version: str) -> RoadGraph:
    """The graph of a version, kept in memory by each process. Raises NotFound where its file is gone or older."""
    try:
        with np.load(_folder(version) / "graph.npz") as file:
            columns = dict(file)
    except (OSError, ValueError) as error:
        raise NotFound(f"The road graph {version} is not in the data folder; build the roads again.") from error
    head = json.loads(bytes(columns.pop("head")))
    if head["format"] != FORMAT or not {"codes", *_columns(Streets), *_columns(TurnGraph)} <= columns.keys():
        raise NotFound(f"The road graph {version} was made by another version; build the roads again.")
    streets = Streets(**{name: columns[name] for name in _columns(Streets)}, names=tuple(head["names"]))
    turns = TurnGraph(**{name: columns[name] for name in _columns(TurnGraph)})
    return RoadGraph(streets, turns, columns["codes"], head["depth"])


def overlay_fetch(graph: RoadGraph, hour: HourClass) -> Overlay:
    """The levels for these hours: from their file, else computed and stored."""
    path = _folder(graph.version) / f"speeds-{hour.key}.npz"
    if path.exists():
        with np.load(path) as file:
            columns = dict(file)
        edges = Edges(*(columns[name] for name in Edges._fields))
        levels = Levels(*(columns[f"level_{name}"] for name in Levels._fields))
        return Overlay(edges, turned_edges(edges), levels, columns["arc_cost"])
    overlay = graph.overlay(hour)
    columns = dict(zip(Edges._fields, overlay.edges, strict=True))
    columns |= {f"level_{name}": column for name, column in zip(Levels._fields, overlay.levels, strict=True)}
    _write(path, columns | {"arc_cost": overlay.arc_cost})
    return overlay


def graphs_forget(*, keep: set[str]) -> None:
    """Delete the files of all other versions."""
    root = Path(settings.DATA_DIR) / "roads"
    for folder in root.iterdir() if root.exists() else ():
        if folder.is_dir() and folder.name not in keep:
            shutil.rmtree(folder, ignore_errors=True)


def _folder(version: str) -> Path:
    return Path(settings.DATA_DIR) / "roads" / version


def _columns(kind: type) -> list[str]:
    return [one.name for one in fields(kind) if one.name != "names"]


def _write(path: Path, columns: dict[str, Any]) -> None:
    """Put a file in place whole or not at all."""
    path.parent.mkdir(parents=True, exist_ok=True)
    descriptor, scratch = tempfile.mkstemp(dir=path.parent, suffix=".part")
    try:
        with os.fdopen(descriptor, "wb") as file:
            np.savez(file, **columns)
        Path(scratch).replace(path)
    except BaseException:
        Path(scratch).unlink(missing_ok=True)
        raise
