"""The list of walls, the file, the limit, the section of a property, and the API."""

import csv
import io
from datetime import date
from decimal import Decimal
from typing import Any

import pytest
import time_machine
from django.db import connection
from django.test.utils import CaptureQueriesContext

from jobs.chalking.domain.verdict import Verdict
from jobs.chalking.marks import marks_of
from jobs.chalking.models import ChalkSetting, WallForecast
from jobs.chalking.pictures import house_sketch, reading_chart
from jobs.chalking.selectors import chalk_setting_get, forecast_list, forecast_verdict, reading_of
from jobs.chalking.words import chance_words, gain_words, light_words, passes_words, refusal_words
from shared.web.maps import Shape
from tests import factories as make

pytestmark = pytest.mark.django_db
TODAY, LIMIT = date(2026, 6, 1), Decimal(2)


@pytest.fixture(autouse=True)
def today() -> Any:
    with time_machine.travel("2026-06-01T16:00:00Z", tick=False):
        yield


def forecasts_of_every_verdict() -> dict[Verdict, WallForecast]:
    """One wall for each verdict, each at a property of its own."""
    days = {
        Verdict.HAS_PASSED: (date(2024, 1, 1), date(2025, 1, 1), date(2026, 1, 1)),
        Verdict.PROBABLY_PASSED: (date(2024, 1, 1), date(2026, 5, 1), date(2028, 1, 1)),
        Verdict.THIS_SEASON: (date(2025, 1, 1), date(2026, 7, 1), date(2028, 1, 1)),
        Verdict.MAY_THIS_SEASON: (date(2026, 7, 1), date(2027, 7, 1), date(2029, 1, 1)),
        Verdict.LATER: (date(2028, 7, 1), date(2029, 7, 1), date(2031, 1, 1)),
    }
    found = {
        name: make.make_forecast(early_on=early, middle_on=middle, late_on=late)
        for name, (early, middle, late) in days.items()
    }
    found[Verdict.TOO_LITTLE] = make.make_forecast(refusal="too_wide", early_on=date(2030, 1, 1))
    found[Verdict.AT_LIMIT] = make.make_forecast(reading=2, middle_on=date(2027, 7, 1))
    return found


def test_the_database_sorts_walls_as_the_domain_judges_them() -> None:
    """Each verdict's filter finds its wall and no other."""
    for name, row in forecasts_of_every_verdict().items():
        (found,) = forecast_list(limit=LIMIT, today=TODAY, verdicts=(name,))
        assert found == row
        assert forecast_verdict(found, reading=reading_of(found), limit=LIMIT, today=TODAY) == name


@pytest.mark.parametrize(
    ("over", "is_at_limit"),
    [
        ({"reading": 2}, True),
        ({"reading": 1.5}, False),
        ({"reading": 3, "refusal": "no_start", "since": None}, True),
        ({"reading": 3, "since": date(2025, 5, 1), "since_what": "removal"}, False),
        ({"reading": 3, "since": date(2025, 4, 30), "since_what": "removal"}, True),
    ],
    ids=["at it", "below", "of unknown age", "read before the removal of that day", "read after a removal"],
)
def test_what_was_read_at_the_limit_goes_before_any_forecast(over: dict[str, Any], is_at_limit: bool) -> None:
    """As on the due list: seen is seen, until the chalk is taken off."""
    row = make.make_forecast(**over)
    (found,) = forecast_list(limit=LIMIT, today=TODAY)
    verdict = forecast_verdict(found, reading=reading_of(found), limit=LIMIT, today=TODAY)
    assert (verdict == Verdict.AT_LIMIT) is is_at_limit
    assert (row in forecast_list(limit=LIMIT, today=TODAY, verdicts=(Verdict.AT_LIMIT,))) is is_at_limit


def test_what_was_read_worst_comes_first_where_walls_at_the_limit_are_asked_for() -> None:
    """Their forecasts say nothing more; those that were not read there follow by their days."""
    rows = [
        make.make_forecast(reading=reading, middle_on=middle, late_on=date(2029, 1, 1))
        for reading, middle in ((1.5, date(2026, 2, 1)), (2, date(2025, 8, 1)), (4, date(2026, 1, 1)))
    ]
    found = forecast_list(limit=LIMIT, today=TODAY, verdicts=(Verdict.AT_LIMIT, Verdict.PROBABLY_PASSED))
    assert list(found) == [rows[2], rows[1], rows[0]]


def test_the_page_shows_the_season_first(client_of: Any, office: Any, assert_query_count: Any) -> None:
    """In a number of queries that does not grow; the rest by filter, refusals in words."""
    rows = forecasts_of_every_verdict()
    client = client_of(office)
    with assert_query_count("chalk walls"):
        page = client.get("/chalk/").content.decode()
    assert rows[Verdict.THIS_SEASON].wall.property.street in page
    assert rows[Verdict.LATER].wall.property.street not in page
    assert "about July 2026" in page
    assert "January 2025 to January 2028" in page
    refused = client.get("/chalk/?when=too_little").content.decode()
    assert "Its readings say only: hardly before January 2030." in refused
    assert client.get("/chalk/?when=nonsense").status_code == 200
    assert "No wall here" in client.get("/chalk/?when=season&words=nowhere").content.decode()


def test_the_file_holds_what_the_filter_leaves_and_runs_nothing(client_of: Any, office: Any) -> None:
    """A street that begins like a formula is guarded."""
    forecasts_of_every_verdict()
    make.make_forecast(property=make.make_property(street="=1+1 Street"), middle_on=date(2026, 6, 20))
    answer = client_of(office).get("/chalk/walls.csv?when=season")
    rows = list(csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig"))))
    assert [row["street"][:2] for row in rows].count("'=") == 1
    assert len(rows) == 3
    assert rows[0]["middle_on"] == "2026-06-20"


def test_only_the_owner_sets_the_limit(client_of: Any, owner: Any, office: Any) -> None:
    """What is off the scale comes back with the form and changes nothing."""
    assert client_of(office).get("/chalk/limit/").status_code == 403
    client = client_of(owner)
    wrong = client.post("/chalk/limit/", {"limit_half_steps": "11", "due_when": "early"})
    assert (wrong.status_code, ChalkSetting.objects.count()) == (422, 0)
    assert client.post("/chalk/limit/", {"limit_half_steps": "5", "due_when": "early"}).status_code == 302
    setting = chalk_setting_get()
    assert (setting.limit, setting.due_when) == (2.5, "early")


def test_crew_leads_have_other_pages(client_of: Any, crew_lead: Any) -> None:
    """The list and the file are the office's."""
    for path in ("/chalk/", "/chalk/walls.csv"):
        assert client_of(crew_lead).get(path).status_code == 403


def test_a_property_shows_its_walls_and_what_makes_it_due(client_of: Any, office: Any) -> None:
    """Sketch, table, chart and the first due thing with its reason; a wall that was never read says so."""
    make.set_company()
    make.make_service(name="Chalk removal", removes_chalk=True, interval_months=48)
    row = make.make_forecast()
    place = row.wall.property
    make.make_wall(property=place, name="North wall", facing_degrees=0)
    page = client_of(office).get(f"/properties/{place.pk}/").content.decode()
    assert "South wall: 1.5. North wall: ?." in page
    assert "Due first on 15 Jun 2026: Chalk removal" in page
    assert "South wall expected to pass 2 about June 2026" in page
    assert "Never read. One finger test at the next visit is enough to begin." in page
    assert 'class="band"' in page


def test_walls_stand_where_they_look_to() -> None:
    """North is up, east is right; a garage door lies outside its wall; what has no facing is not drawn."""
    place = make.make_property(front_degrees=180)
    names = (("north", 0), ("east", 90), ("south", 180), ("west", 270))
    walls = [make.make_wall(property=place, name=name, facing_degrees=facing) for name, facing in names]
    walls.append(make.make_wall(property=place, name="door", kind="garage_door", facing_degrees=180))
    walls.append(make.make_wall(property=place, name="trim", kind="trim", facing_degrees=None))
    drawn = {wall.name: wall for wall in house_sketch(place, walls, {}).walls}
    assert set(drawn) == {"north", "east", "south", "west", "door"}
    assert drawn["north"].y < drawn["east"].y < drawn["south"].y < drawn["door"].y
    assert drawn["west"].x < drawn["north"].x < drawn["east"].x
    assert {wall.text for wall in drawn.values()} == {"?"}


def test_a_chart_holds_all_readings_and_the_band() -> None:
    """Points inside the drawing, in order of time; a wall without a forecast has no band."""
    row = make.make_forecast()
    make.make_reading(wall=row.wall, reading=2, read_on=date(2026, 5, 20))
    readings = list(row.wall.readings.order_by("read_on"))
    chart = reading_chart(readings, row, limit=2.0, shape=1.0, today=TODAY)
    xs = [x for x, _y, _text in chart.points]
    assert chart.left < xs[0] < xs[1] < chart.today_x < chart.right
    assert [text for _x, _y, text in chart.points] == ["1.5", "2"]
    assert chart.band.endswith("z")
    assert [(x, text) for x, text in chart.years if text and not chart.left < x < chart.width - 15] == []
    assert reading_chart(readings, None, limit=2.0, shape=1.0, today=TODAY).band == ""


def test_pins_carry_the_number_of_the_first_line_and_how_the_property_stands() -> None:
    """One for each property; a property without a place has none."""
    place = make.make_property()
    rows = [
        make.make_forecast(wall=make.make_wall(property=place, name="north")),
        make.make_forecast(wall=make.make_wall(property=place, name="south")),
        make.make_forecast(property=make.make_property(latitude=None, longitude=None)),
    ]
    said = [("later", "later"), ("at_limit", "read at the limit"), ("later", "later")]
    lines = [
        {"row": row, "number": k, "verdict": verdict, "verdict_words": words}
        for k, (row, (verdict, words)) in enumerate(zip(rows, said, strict=True), 7)
    ]
    (mark,) = marks_of(lines)
    assert (mark.text, mark.note, mark.shape) == ("7", "north: later; south: read at the limit", Shape.STOP)


def test_light_is_told_with_what_is_not_known() -> None:
    """Facing, shade and place; south of the equator the north face is the measure."""
    row = make.make_forecast(wall=make.make_wall(name="South wall", lightness_percent=60))
    assert light_words(row, row.wall, has_place=True, is_southern=False) == "100 % of an open south wall's light"
    row.wall.shade, row.wall.facing_degrees, row.wall.lightness_percent = "partly", None, None
    assert light_words(row, row.wall, has_place=False, is_southern=True) == (
        "100 % of an open north wall's light; shaded part of the day; which way it looks is not written down, so the "
        "mean of all directions is taken; its colour's lightness is not written down, so a mid-tone is taken; the "
        "property has no place, so it is taken to lie where the others do"
    )


def test_a_house_without_a_place_is_told_as_those_of_the_others_in_as_many_queries(
    client_of: Any, office: Any, django_assert_num_queries: Any
) -> None:
    """South of the equator where the others are; a further wall asks no further question."""
    make.set_company()
    make.make_property(latitude=-33.0, longitude=151.0)
    place = make.make_property(latitude=None, longitude=None)
    make.make_forecast(wall=make.make_wall(property=place, name="one"))
    client = client_of(office)
    with CaptureQueriesContext(connection) as asked:
        page = client.get(f"/properties/{place.pk}/").content.decode()
    assert "open north wall" in page
    assert "the property has no place" in page
    make.make_forecast(wall=make.make_wall(property=place, name="two"))
    with django_assert_num_queries(len(asked)):
        client.get(f"/properties/{place.pk}/")


def test_a_refusal_never_names_a_day_that_is_gone() -> None:
    """An interval that began long ago and has no end in sight is said as such."""
    gone = make.make_forecast(refusal="too_wide", early_on=date(2025, 1, 1))
    assert refusal_words(gone, today=TODAY).startswith("It may have passed already, or not for years.")


def test_gains_and_chances_in_words() -> None:
    """A straight line of 2 in 13 to 9.9 years gains 0.15 to 0.2 a year; beyond its ends an interval says no number."""
    row = make.make_forecast()
    assert gain_words(row, shape=1.0, today=TODAY) == "0.2 a year now"
    assert gain_words(row, shape=2.0, today=TODAY) == "0.3 to 0.5 a year now"
    assert gain_words(make.make_forecast(refusal="too_wide"), shape=1.0, today=TODAY) == ""
    assert [chance_words(chance) for chance in (0.1, 0.12, 0.34, 0.88, 0.9)] == [
        "at most 10 %", "at most 10 %", "about 35 %", "at least 90 %", "at least 90 %",
    ]  # fmt: skip


def test_a_wall_has_its_forecast_on_its_page(client_of: Any, office: Any) -> None:
    """With what it rests on; a wall that was never read says what would help."""
    make.set_company()
    row = make.make_forecast()
    page = client_of(office).get(f"/walls/{row.wall_id}/").content.decode()
    for words in ("about June 2026", "June 2025 to July 2028", "fitted 2015", "0.2 a year now", 'class="band"'):
        assert words in page
    never = make.make_wall()
    assert "One finger test at the next visit" in client_of(office).get(f"/walls/{never.pk}/").content.decode()


def test_the_api_lists_forecasts_and_changes_the_limit(client_of: Any, owner: Any, office: Any) -> None:
    """Null days where refused; the limit is the owner's."""
    rows = forecasts_of_every_verdict()
    client = client_of(office)
    found = client.get("/api/chalk-forecasts/?verdict=too_little").json()["results"]
    assert [(row["refusal"], row["middle_on"]) for row in found] == [("too_wide", None)]
    season = rows[Verdict.THIS_SEASON]
    (mine,) = client.get(f"/api/chalk-forecasts/?property={season.wall.property_id}").json()["results"]
    assert (mine["verdict"], mine["middle_on"], mine["reading"]) == ("this_season", "2026-07-01", "1.5")
    assert (mine["since"], mine["since_what"], mine["light"]) == ("2015-07-01", "fitted", 1.0)
    # 11.17 years of light by 1 September: a ninth of the way, in logarithms, from the middle to the late dose
    assert mine["chance_this_season"] == 0.56
    both = client.get("/api/chalk-forecasts/?verdict=later&verdict=at_limit").json()["results"]
    assert {row["verdict"] for row in both} == {"later", "at_limit"}
    assert client.get("/api/chalk-forecasts/?verdict=soon").status_code == 400
    assert client.patch("/api/chalk-limit/", {"limit_half_steps": 5}, "application/json").status_code == 403
    owners = client_of(owner)
    changed = owners.patch("/api/chalk-limit/", {"limit_half_steps": 5}, "application/json")
    assert changed.json() == {"limit_half_steps": 5, "due_when": "middle"}
    assert owners.patch("/api/chalk-limit/", {"limit_half_steps": 0}, "application/json").status_code == 400


def test_a_wall_that_passes_late_is_told_in_a_sentence() -> None:
    """Thirty years are as far as a month is named; `about after 2056` says nothing."""
    today = date(2026, 6, 1)
    assert passes_words(date(2028, 7, 3), today=today) == "about July 2028"
    assert passes_words(date(2099, 1, 1), today=today) == "after 2056"
