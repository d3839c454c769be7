"""The invented town as a map: an OpenStreetMap extract, which the product then reads as it reads any other."""

from collections.abc import Iterator
from pathlib import Path

import osmium
from osmium.osm.mutable import Node, Relation, Way

from routing.demo.domain.houses import House
from routing.demo.domain.town import RIVER_NAME, Town
from routing.demo.domain.town import Way as TownWay
from routing.demo.domain.world import Base

EXTRACT_NAME = "tallowick.osm.pbf"


def extract_write(base: Base, path: Path) -> None:
    """Write the town with its streets, turn rules, river and house numbers: nodes, ways and relations by their ids."""
    path.parent.mkdir(parents=True, exist_ok=True)
    town = base.town
    with osmium.SimpleWriter(str(path), overwrite=True) as writer:
        for node in _nodes(base):
            writer.add_node(node)
        for way in sorted(town.ways, key=lambda way: way.id):
            writer.add_way(Way(id=way.id, nodes=way.nodes, tags=_way_tags(way)))
        writer.add_way(_river(town))
        for rule in sorted(town.restrictions, key=lambda rule: rule.id):
            members = [("w", rule.from_way, "from"), ("n", rule.via_node, "via"), ("w", rule.to_way, "to")]
            tags = {"type": "restriction", "restriction": rule.kind}
            writer.add_relation(Relation(id=rule.id, members=members, tags=tags))


def _nodes(base: Base) -> Iterator[Node]:
    town = base.town
    for node_id in sorted(town.nodes):
        node = town.nodes[node_id]
        tags = {"barrier": node.barrier} if node.barrier else {}
        yield Node(id=node_id, location=(node.lon, node.lat), tags=tags)
    first = max(town.nodes) + 1
    for number, (lat, lon) in enumerate(town.river):
        yield Node(id=first + number, location=(lon, lat))
    for number, house in enumerate(base.houses, start=first + len(town.river)):
        yield Node(id=number, location=(house.plot.lon, house.plot.lat), tags=_address_tags(house, town))


def _river(town: Town) -> Way:
    first = max(town.nodes) + 1
    nodes = list(range(first, first + len(town.river)))
    return Way(id=max(way.id for way in town.ways) + 1, nodes=nodes, tags={"waterway": "river", "name": RIVER_NAME})


def _way_tags(way: TownWay) -> dict[str, str]:
    tags = {"highway": way.road_class, "name": way.name, "maxspeed": f"{way.speed_mph} mph"}
    if way.road_class == "motorway":
        tags["ref"] = tags.pop("name")
    tags |= {"oneway": "yes"} if way.one_way else {}
    tags |= {"access": "private"} if way.private else {}
    tags |= {"bridge": "yes", "layer": "1"} if way.bridge else {}
    tags |= {"junction": "roundabout"} if way.roundabout else {}
    return {key: value for key, value in tags.items() if value}


def _address_tags(house: House, town: Town) -> dict[str, str]:
    plot = house.plot
    return {"addr:housenumber": str(plot.number), "addr:street": plot.street, "addr:city": town.name}
