"""Routes, marks and sending out for programs: who sees what, repeated calls, versions."""

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
import time_machine

from jobs.work.models import Visit
from routing.dispatch.models import SentPlan, SentRoute, SentStop, StopMark
from routing.dispatch.services import plan_send_out, rig_set
from shared.api_kit.etags import etag_of
from shared.events.selectors import event_list
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


# --- marks that waited on a phone without a signal ---

# 2 June 2026 by the yard's clock: the working day; sent when the phone had a signal again.
MADE = {"arrived": "2026-06-02T13:00:00Z", "started": "2026-06-02T13:20:00Z", "finished": "2026-06-02T16:05:00Z"}


def send_late(client_of: Any, lead: Any, stop: SentStop, now: datetime, **over: str) -> list[Any]:
    with time_machine.travel(now, tick=False):
        client, address = client_of(lead), f"/api/stops/{stop.pk}/marks/"
        return [post(client, address, {"kind": kind, "at": at}) for kind, at in (MADE | over).items()]


@pytest.mark.parametrize("late", [timedelta(hours=13), timedelta(days=7)])
def test_marks_of_a_past_day_are_taken_once(client_of: Any, crew: Any, crew_lead: Any, late: timedelta) -> None:
    """After midnight and a week later, with the phone's times; sent again nothing changes; the office sees it."""
    send(factories.make_planned_day((crew, [factories.make_job()])))
    stop = SentStop.objects.get()
    factories.settle_notice(stop.job)
    first = send_late(client_of, crew_lead, stop, NOON + late)
    assert [answer.status_code for answer in first] == [200, 200, 200]
    again = send_late(client_of, crew_lead, stop, NOON + late)
    assert [answer.json() for answer in again] == [answer.json() for answer in first]
    visit = Visit.objects.get()
    assert (visit.work_date, visit.on_site_minutes) == (date(2026, 6, 2), 185)
    assert visit.finished_at == datetime(2026, 6, 2, 16, 5, tzinfo=UTC)
    kinds = list(event_list(subject=stop.job).values_list("kind", flat=True))
    assert [kinds.count(f"job.{kind}_late") for kind in MADE] == [1, 1, 1]
    page = client_of(factories.make_user(role="office")).get(f"/jobs/{stop.job_id}/").content.decode()
    assert "the finish came up after its day" in page
    assert "2026-06-02 12:05" in page


def test_marks_of_the_same_day_are_not_late(client_of: Any, crew: Any, crew_lead: Any) -> None:
    """Half past eleven in the evening in New York, although it is the next day in UTC."""
    send(factories.make_planned_day((crew, [factories.make_job()])))
    stop = SentStop.objects.get()
    factories.settle_notice(stop.job)
    send_late(client_of, crew_lead, stop, datetime(2026, 6, 3, 3, 30, tzinfo=UTC))
    assert StopMark.objects.count() == 3
    assert not event_list(subject=stop.job).filter(kind__endswith="_late").exists()


def test_more_than_seven_days_late_is_refused(client_of: Any, crew: Any, crew_lead: Any) -> None:
    """In words that the phone shows; nothing is made."""
    send(factories.make_planned_day((crew, [factories.make_job()])))
    answers = send_late(client_of, crew_lead, SentStop.objects.get(), NOON + timedelta(days=8))
    assert [answer.status_code for answer in answers] == [404, 404, 404]
    assert "seven days" in answers[0].json()["detail"]
    assert not StopMark.objects.exists()


def test_late_marks_keep_their_order_and_day(client_of: Any, crew: Any, crew_lead: Any) -> None:
    """A time of the next day, one before the mark that comes first, and one without the mark before it."""
    send(factories.make_planned_day((crew, [factories.make_job()])))
    stop, morning = SentStop.objects.get(), NOON + timedelta(hours=20)
    factories.settle_notice(stop.job)
    other_day = send_late(client_of, crew_lead, stop, morning, arrived="2026-06-03T06:00:00Z")
    assert [answer.status_code for answer in other_day] == [409, 409, 409]
    before = send_late(client_of, crew_lead, stop, morning, started="2026-06-02T12:59:00Z")
    assert [answer.status_code for answer in before] == [200, 409, 409]
    future = send_late(client_of, crew_lead, stop, morning, finished="2026-06-05T16:05:00Z")
    assert [answer.status_code for answer in future] == [200, 200, 409]
    assert "not come yet" in future[2].json()["detail"]
    assert not Visit.objects.exists()


def test_late_marks_of_another_crew_are_not_found(client_of: Any, crew: Any) -> None:
    """A week back opens nothing to a stranger."""
    send(factories.make_planned_day((crew, [factories.make_job()])))
    stranger = factories.make_user(role="crew_lead")
    factories.make_crew(yard=crew.yard, lead=stranger)
    answers = send_late(client_of, stranger, SentStop.objects.get(), NOON + timedelta(hours=20))
    assert [answer.status_code for answer in answers] == [404, 404, 404]
    assert not StopMark.objects.exists()
