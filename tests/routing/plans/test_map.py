"""The map of a day: page, API and command."""

import json
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from routing.plans.choices import LeftOutReason
from routing.plans.models import LeftOut
from routing.plans.services.storing import plan_rows_replace
from routing.plans.services.ways import plan_ways_find
from routing.roads.models import DriveRow, RoadWay
from routing.roads.services.build import roads_build
from routing.solver import parse_plan, parse_problem
from tests.factories import make_crew, make_job, make_planned_day, make_property, make_user, make_yard
from tests.routing.roads.land import SOUTH, WEST, write_land

pytestmark = pytest.mark.django_db


@pytest.fixture
def plan() -> Any:
    yard = make_yard(code="north", latitude=SOUTH + 0.002, longitude=WEST + 0.002)
    places = [
        make_property(street="1 Elm Street", latitude=SOUTH + 0.01, longitude=WEST + 0.01),
        make_property(street="2 Elm Street", latitude=SOUTH + 0.012, longitude=WEST + 0.004),
    ]
    return make_planned_day((make_crew(yard=yard, name="Heron"), [make_job(property=place) for place in places]))


def signed_in(role: str) -> Client:
    client = Client()
    client.force_login(make_user(role=role))
    return client


def test_routes_follow_the_streets_where_roads_are_known(plan: Any, tmp_path: Path) -> None:
    """Three drives, out and back: straight without roads, along the streets with them; longitude first."""
    client, url = signed_in("office"), f"/api/day-plans/{plan.pk}/map/"
    straight = client.get(url).json()["features"][0]
    assert straight["properties"]["estimated"] == 3
    assert straight["properties"]["title"] == "Heron"
    assert [len(line) for line in straight["geometry"]["coordinates"]] == [2, 2, 2]
    assert straight["geometry"]["coordinates"][0][0] == [WEST + 0.002, SOUTH + 0.002]
    write_land(tmp_path / "land.osm.pbf", crossings=300)
    roads_build(path=tmp_path / "land.osm.pbf")
    answer = client.get(url)
    assert answer["Content-Type"] == "application/geo+json"
    along = answer.json()["features"][0]
    assert along["properties"]["estimated"] == 0
    assert all(len(line) > 2 for line in along["geometry"]["coordinates"])
    drives = along["properties"]["drives"]
    assert [drive[0]["turn"] for drive in drives] == ["start"] * 3
    assert all(step["street"] for drive in drives for step in drive)


def test_only_the_office_sees_all_routes(plan: Any) -> None:
    assert signed_in("crew_lead").get(f"/api/day-plans/{plan.pk}/map/").status_code == 403
    assert signed_in("owner").get("/api/day-plans/999999/map/").status_code == 404


def test_the_page_holds_marks_lines_and_the_sketch(plan: Any) -> None:
    """The map's data are on the page; the sketch stays for whoever has no script."""
    page = signed_in("office").get(f"/day/north/{plan.work_date}/").content.decode()
    data = json.loads(page.partition('<script type="application/json">')[2].partition("</script>")[0])
    shapes = [one["properties"].get("shape") for one in data["features"]]
    assert shapes == [None, "yard", "stop", "stop"]
    assert [one["properties"]["text"] for one in data["features"][2:]] == ["1", "2"]
    assert "data-without-map" in page
    assert "openstreetmap.org/copyright" in page


def test_a_job_without_a_place_is_named_with_the_way_to_mend_it(plan: Any) -> None:
    """Left out with its reason and a link to the map on which the place is set."""
    lost = make_job(property=make_property(street="9 Nowhere Lane", latitude=None, longitude=None))
    LeftOut.objects.create(plan=plan, job=lost, reason=LeftOutReason.NO_PLACE)
    page = signed_in("office").get(f"/day/north/{plan.work_date}/").content.decode()
    assert "the property has no place on the map" in page
    assert f'href="/properties/{lost.property_id}/place/"' in page


def test_the_command_writes_geojson_or_turns(plan: Any, tmp_path: Path) -> None:
    """To the screen or a file; the turns in words; a day without a plan, and a folder that is none, are said."""
    write_land(tmp_path / "land.osm.pbf", crossings=300)
    roads_build(path=tmp_path / "land.osm.pbf")
    file, day, out = tmp_path / "day.geojson", str(plan.work_date), StringIO()
    call_command("route_map", "--date", day, "--out", str(file))
    assert json.loads(file.read_text())["type"] == "FeatureCollection"
    call_command("route_map", "--date", day, "--turns", stdout=out)
    assert "to 1 Elm Street" in out.getvalue()
    assert " into " in out.getvalue()
    with pytest.raises(CommandError, match="not planned yet"):
        call_command("route_map", "--date", "2026-01-02")
    with pytest.raises(CommandError, match="cannot be written"):
        call_command("route_map", "--date", day, "--out", str(tmp_path / "none" / "x"))


def test_pages_write_no_ways_and_background_work_does(
    plan: Any, tmp_path: Path, django_capture_on_commit_callbacks: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The map, its page and the leads only read; once the plan's ways were found in the background none is searched."""
    write_land(tmp_path / "land.osm.pbf", crossings=300)
    roads_build(path=tmp_path / "land.osm.pbf")
    make_job(property=make_property(latitude=SOUTH + 0.008, longitude=WEST + 0.007), state="lead")
    client = signed_in("office")
    day = f"/day/north/{plan.work_date}/"
    with CaptureQueriesContext(connection) as queries:
        seen = [client.get(f"/api/day-plans/{plan.pk}/map/").json(), client.get(day), client.get("/leads/")]
    assert [answer.status_code for answer in seen[1:]] == [200, 200]
    assert not [query["sql"] for query in queries if "roads_" in query["sql"] and not query["sql"].startswith("SELECT")]
    assert not RoadWay.objects.exists()
    assert not DriveRow.objects.exists()
    with django_capture_on_commit_callbacks(execute=True):
        problem, content = parse_problem(plan.problem), parse_plan(plan.plan)
        plan_rows_replace(plan=plan, problem=problem, content=content, taken_out=(), set_aside=())
    assert RoadWay.objects.count() == 3
    monkeypatch.setattr("routing.roads.services.ways._searched", lambda missing: {}[missing] if missing else {})
    assert client.get(f"/api/day-plans/{plan.pk}/map/").json() == seen[0]
    assert plan_ways_find(plan_id=0) == 0
