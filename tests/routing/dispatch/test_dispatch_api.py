"""Routes, marks and sending out for programs: who sees what, repeated calls, versions."""

from datetime import UTC, date, datetime
from typing import Any

import pytest
import time_machine

from jobs.work.models import Visit
from routing.dispatch.models import SentPlan, SentRoute, SentStop, StopMark
from routing.dispatch.services import plan_send_out, rig_set
from shared.api_kit.etags import etag_of
from tests import factories

pytestmark = pytest.mark.django_db
NOON = datetime(2026, 6, 2, 16, 0, tzinfo=UTC)


@pytest.fixture(autouse=True)
def noon() -> Any:
    with time_machine.travel(NOON, tick=False):
        yield


@pytest.fixture
def crew(crew_lead: Any) -> Any:
    return factories.make_crew(lead=crew_lead, code="A")


def send(plan: Any) -> None:
    plan_send_out(plan=plan, expected_version=plan.version)


def post(client: Any, path: str, body: Any, **headers: str) -> Any:
    return client.post(path, body, content_type="application/json", headers=headers)


def test_who_sees_which_routes(client_of: Any, crew: Any, crew_lead: Any, office: Any, assert_query_count: Any) -> None:
    """The office all, the crew lead the own ones of today and tomorrow."""
    other = factories.make_crew(yard=crew.yard, code="B")
    for day in (1, 2, 3, 4):
        jobs = [factories.make_job() for _ in range(3)]
        send(factories.make_planned_day((crew, jobs[:2]), (other, jobs[2:]), work_date=date(2026, 6, day)))
    mine = client_of(crew_lead).get("/api/routes/").json()["results"]
    assert [(route["work_date"], route["crew"]) for route in mine] == [("2026-06-03", "A"), ("2026-06-02", "A")]
    with assert_query_count("api routes"):
        everything = client_of(office).get("/api/routes/").json()
    assert everything["count"] == 8
    day = client_of(office).get("/api/routes/?work_date=2026-06-04").json()["results"]
    assert [route["crew"] for route in day] == ["A", "B"]
    assert client_of(office).get("/api/routes/?work_date=soon").status_code == 400


def test_a_route_with_its_stops(client_of: Any, crew: Any, crew_lead: Any) -> None:
    """Instants in UTC, address, geo, lines with their ids."""
    job = factories.make_job(property=factories.make_property(street="14 Elm Street", gate_note="code 1234"))
    send(factories.make_planned_day((crew, [job])))
    (route,) = client_of(crew_lead).get("/api/routes/").json()["results"]
    (stop,) = route["stops"]
    assert (stop["job"], stop["arrive_at"], stop["geo"]) == (job.pk, "2026-06-02T11:40:00Z", "geo:40.000000,-82.000000")
    assert (stop["gate_note"], stop["lines"][0]["id"]) == ("code 1234", job.lines.get().pk)


def test_marks_by_api(client_of: Any, crew: Any, crew_lead: Any) -> None:
    """Out of order 409, then arrived, started, finished; each repeated without harm."""
    send(factories.make_planned_day((crew, [factories.make_job()])))
    stop = SentStop.objects.get()
    factories.settle_notice(stop.job)
    client, address = client_of(crew_lead), f"/api/stops/{stop.pk}/marks/"
    early = post(client, address, {"kind": "finished"})
    assert (early.status_code, early.json()["type"].rsplit("/", 1)[-1]) == (409, "mark_refused")
    first = post(client, address, {"kind": "arrived", "at": "2026-06-02T12:00:00Z"}).json()
    assert post(client, address, {"kind": "arrived"}).json() == first
    post(client, address, {"kind": "started", "at": "2026-06-02T08:10:00-04:00"})
    line = {"line": stop.job.lines.get().pk, "minutes": 80, "materials_cents": 900}
    body = {"kind": "finished", "at": "2026-06-02T14:00:00Z", "minutes": 95, "lines": [line], "note": "windy"}
    assert post(client, address, body).status_code == 200
    assert post(client, address, body).status_code == 200
    visit = Visit.objects.get()
    assert (visit.on_site_minutes, visit.note, visit.lines.get().minutes) == (95, "windy", 80)
    assert StopMark.objects.count() == 3


@pytest.mark.parametrize(
    "body",
    [
        {},
        {"kind": "left"},
        {"kind": "arrived", "at": "noon"},
        {"kind": "arrived", "minutes": 0},
        {"kind": "arrived", "lines": [{"minutes": 5}]},
    ],
)
def test_unsound_marks(client_of: Any, crew: Any, crew_lead: Any, body: dict[str, Any]) -> None:
    """400 with problem details; no mark."""
    send(factories.make_planned_day((crew, [factories.make_job()])))
    response = post(client_of(crew_lead), f"/api/stops/{SentStop.objects.get().pk}/marks/", body)
    assert (response.status_code, response["Content-Type"]) == (400, "application/problem+json")
    assert not StopMark.objects.exists()


def test_other_crews_stops_are_not_found(client_of: Any, crew: Any, office: Any) -> None:
    """404 for another crew's lead; the office may mark for a crew."""
    send(factories.make_planned_day((crew, [factories.make_job()])))
    address = f"/api/stops/{SentStop.objects.get().pk}/marks/"
    stranger = client_of(factories.make_user(role="crew_lead"))
    assert post(stranger, address, {"kind": "arrived"}).status_code == 404
    assert post(client_of(office), address, {"kind": "arrived"}).status_code == 200


def test_sending_out_by_api(client_of: Any, crew: Any, crew_lead: Any, office: Any) -> None:
    """Closed to crew leads; 428 without a version, 412 with an old one, 201 with changes in words, then 409."""
    jobs = [factories.make_job(property=factories.make_property(street=f"{n} Elm Street")) for n in (1, 2)]
    plan = factories.make_planned_day((crew, jobs))
    client, address = client_of(office), f"/api/day-plans/{plan.pk}/send-out/"
    assert post(client_of(crew_lead), address, {}, **{"If-Match": etag_of(plan)}).status_code == 403
    assert post(client, address, {}).status_code == 428
    assert post(client, address, {}, **{"If-Match": f'"{plan.pk}-9"'}).status_code == 412
    first = post(client, address, {}, **{"If-Match": etag_of(plan)})
    assert (first.status_code, first.json()["number"], first.json()["changes"]) == (201, 1, {})
    assert first["ETag"] == f'"{plan.pk}-2"'
    assert post(client, address, {}, **{"If-Match": first["ETag"]}).status_code == 409
    plan.refresh_from_db()
    factories.set_routes(plan, (crew, jobs[:1]))
    second = post(client, address, {}, **{"If-Match": etag_of(plan)}).json()
    assert second["changes"] == {"A": ["No longer on the route: 2 Elm Street."]}
    assert SentPlan.objects.count() == 2


def test_a_sheet_by_program(client_of: Any, crew_lead: Any) -> None:
    """Mixes with their measures, steps and cautions of the own route; nobody else's."""
    crew = factories.make_crew(lead=crew_lead, truck=factories.make_truck())
    rig_set(truck=crew.truck, drawn_ml=1_000, out_ml=11_000, jug_ml=18_927)
    mix = factories.make_mix(product=factories.make_stock().product)
    job = factories.make_job(lines=[{"service": mix.service, "quantity": 2_400}])
    plan = factories.make_planned_day((crew, [job]))
    plan_send_out(plan=plan, expected_version=1)
    address = f"/api/routes/{SentRoute.objects.get().pk}/sheet/"
    body = client_of(crew_lead).get(address).json()
    (line,) = body["stops"][0]["lines"]
    assert [step["code"] for step in line["steps"]][:3] == ["cover", "prewet", "test"]
    assert set(line["mixes"][0]["pours"][0]) == {"where", "stock", "water"}
    assert body["mix_totals"]
    assert client_of(factories.make_user(role="crew_lead")).get(address).status_code == 404
