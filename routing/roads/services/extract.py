"""Reads an OpenStreetMap file, keeping only what cars drive.

Three passes: the ways and turn rules, then the nodes that they use, so that memory follows the kept roads and not the
file.
"""

from array import array
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import osmium
from osmium.filter import KeyFilter
from osmium.osm import NODE, RELATION, WAY

from routing.roads.domain.raw import RawRoads, RawRule
from routing.roads.domain.tags import WAY_KEYS, Ignored, WayRules, node_kind, rule_kind, way_rules
from routing.roads.errors import BadExtract

SUFFIXES = (".osm.pbf", ".osm", ".osm.bz2", ".osm.gz")
STEP = 10_000
Progress = Callable[[str, int], None]
"""Told in words what is being read, and how many objects of it came since the last call."""


def extract_read(path: Path, *, progress: Progress = lambda _words, _count: None) -> RawRoads:
    """The roads of a file. Raises BadExtract where it is missing, unreadable, cut off or holds no roads."""
    if not path.name.endswith(SUFFIXES):
        raise BadExtract(f"{path.name}: expected a file that ends in {', '.join(SUFFIXES)}.")
    if not path.is_file():
        raise BadExtract(f"{path}: no such file.")
    if path.stat().st_size == 0:
        raise BadExtract(f"{path.name} is empty.")
    try:
        return _read(path, progress)
    except (RuntimeError, ValueError, OSError) as error:  # pyosmium's errors are RuntimeErrors
        raise BadExtract(f"{path.name} cannot be read to its end: {error}") from error


def _read(path: Path, progress: Progress) -> RawRoads:
    ways = _Ways()
    for way in _objects(path, WAY, "ways", progress, KeyFilter("highway", "route")):
        ways.add(way)
    if not ways.ids:
        raise BadExtract(f"{path.name} holds no road that cars may drive.")
    rules, rules_ignored = _turn_rules(path, progress)
    nodes = _nodes(path, ways.refs, progress)
    return RawRoads(
        way_ids=np.array(ways.ids, np.int64),
        way_rule=np.array(ways.rule, np.int32),
        way_name=np.array(ways.name, np.int32),
        ref_starts=np.array(ways.starts, np.int64),
        refs=np.frombuffer(ways.refs, np.int64).copy(),
        **nodes,
        rules=tuple(ways.rules),
        names=tuple(ways.names),
        turn_rules=rules,
        ignored=ways.ignored + rules_ignored,
    )


def _objects(path: Path, kind: Any, words: str, progress: Progress, *filters: Any) -> Iterator[Any]:
    """The file's objects of one kind that pass the filters."""
    processor = osmium.FileProcessor(str(path), kind)
    for one in filters:
        processor = processor.with_filter(one)
    count = 0
    for found in processor:
        count += 1
        if count % STEP == 0:
            progress(words, STEP)
        yield found
    progress(words, count % STEP)


@dataclass
class _Ways:
    """Columns of the ways that cars drive; ways whose tags agree share their rules."""

    ids: array = field(default_factory=lambda: array("q"))
    rule: array = field(default_factory=lambda: array("i"))
    name: array = field(default_factory=lambda: array("i"))
    starts: array = field(default_factory=lambda: array("q", [0]))
    refs: array = field(default_factory=lambda: array("q"))
    rules: list[WayRules] = field(default_factory=list)
    names: dict[str, int] = field(default_factory=dict)
    ignored: Counter[str] = field(default_factory=Counter)
    _known: dict[tuple[tuple[str, str], ...], int | Ignored] = field(default_factory=dict)

    def add(self, way: Any) -> None:
        tags = [(tag.k, tag.v) for tag in way.tags]
        rule = self._rule(tuple(pair for pair in tags if pair[0] in WAY_KEYS))
        if isinstance(rule, Ignored):
            self.ignored[rule.reason] += 1
            return
        words = dict(tags)
        name = words.get("name") or words.get("ref") or ""
        self.ids.append(way.id)
        self.rule.append(rule)
        self.name.append(self.names.setdefault(name, len(self.names)))
        self.refs.extend(node.ref for node in way.nodes)
        self.starts.append(len(self.refs))

    def _rule(self, tags: tuple[tuple[str, str], ...]) -> int | Ignored:
        known = self._known.get(tags)
        if known is None:
            rules = way_rules(dict(tags))
            known = rules if isinstance(rules, Ignored) else len(self.rules)
            if isinstance(rules, WayRules):
                self.rules.append(rules)
            self._known[tags] = known
        return known


def _turn_rules(path: Path, progress: Progress) -> tuple[tuple[RawRule, ...], Counter[str]]:
    ignored: Counter[str] = Counter()
    found: list[RawRule] = []
    for relation in _objects(path, RELATION, "turn rules", progress, KeyFilter("type")):
        tags = {tag.k: tag.v for tag in relation.tags}
        if tags.get("type") not in ("restriction", "restriction:motorcar", "restriction:motor_vehicle"):
            continue
        kind, reason = rule_kind(tags)
        members = [(member.role, member.type, member.ref) for member in relation.members]
        rule = _rule(relation.id, kind, members) if kind else None
        if rule is None:
            ignored[reason or "turn rule without all its members"] += 1
        else:
            found.append(rule)
    return tuple(found), ignored


def _rule(rule_id: int, kind: str, members: list[tuple[str, str, int]]) -> RawRule | None:
    def refs(role: str, letter: str) -> tuple[int, ...]:
        return tuple(ref for member_role, member_type, ref in members if (member_role, member_type) == (role, letter))

    rule = RawRule(rule_id, kind, refs("from", "w"), refs("via", "n"), refs("via", "w"), refs("to", "w"))
    is_whole = rule.from_ways and rule.to_ways and (rule.via_nodes or rule.via_ways)
    return rule if is_whole else None


def _nodes(path: Path, refs: array, progress: Progress) -> dict[str, Any]:
    """The nodes that the ways use, by ascending id; those that the file lacks are missing."""
    wanted = np.unique(np.frombuffer(refs, np.int64))
    tracker = osmium.IdTracker()
    for ref in wanted.tolist():
        tracker.add_node(ref)
    ids, lat, lon, kinds = array("q"), array("i"), array("i"), array("B")
    for node in _objects(path, NODE, "nodes", progress, tracker.id_filter()):
        if not node.location.valid():
            continue
        ids.append(node.id)
        lat.append(node.location.y)
        lon.append(node.location.x)
        kinds.append(node_kind({tag.k: tag.v for tag in node.tags}) if len(node.tags) else 0)
    found = np.array(ids, np.int64)
    _all, first = np.unique(found, return_index=True)
    columns = {"node_lat": np.array(lat, np.int32), "node_lon": np.array(lon, np.int32)}
    columns["node_kind"] = np.array(kinds, np.uint8)
    return {"node_ids": found[first], **{name: column[first] for name, column in columns.items()}}
