"""Walls that nobody read: what the walls like them say of them, how it is marked, and what it must never do."""

import csv
import io
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from statistics import NormalDist
from typing import Any

import numpy as np
import pytest
import time_machine
from hypothesis import given, settings
from hypothesis import strategies as st

from jobs.chalking import rows
from jobs.chalking.domain.draws import QUANTILES
from jobs.chalking.domain.growth import FIXED, Walls, prior_of
from jobs.chalking.domain.like import Ages, LikeWalls
from jobs.chalking.domain.verdict import Verdict
from jobs.chalking.marks import marks_of
from jobs.chalking.models import WallForecast
from jobs.chalking.pictures import bar_tells, house_sketch, reading_chart
from jobs.chalking.selectors import forecast_list, forecast_verdict, reading_of
from jobs.chalking.services import forecasts_update
from jobs.chalking.words import forecast_facts, like_words
from jobs.customers.services import wall_create, wall_update
from jobs.reminders.listing import DueSheet
from jobs.reminders.selectors import due_list
from jobs.reminders.services import reminder_preview
from shared.web.maps import Shape
from tests import factories as make

NOW = datetime(2026, 6, 1, 12, tzinfo=UTC)
TODAY, LIMIT = date(2026, 6, 1), Decimal(2)
SPREAD = 0.4


# --- the doses ---


def like_walls(rate: float = -1.0) -> LikeWalls:
    """Sure parameters: log rate `rate` of a mid-tone wall, straight growth, paces that spread by SPREAD."""
    mean, _spread = prior_of(2, 1)
    theta = np.where(np.arange(len(mean)) < FIXED, mean, 0.0)
    theta[0], theta[6] = rate, np.log(SPREAD)
    return LikeWalls(np.stack([theta, theta]), 2.0)


def walls_of(count: int) -> Walls:
    return Walls(np.tile([[0, 1]], (count, 1)), np.full(count, 0.4), 2)


def test_a_sure_age_gives_the_quantiles_of_the_paces() -> None:
    """log(dose) is normal around log(2) - rate with the spread of the paces."""
    doses = like_walls().doses(walls_of(2), np.zeros(2, bool))
    expected = np.exp(np.log(2) + 1 + SPREAD * np.array([-1.28155, 0, 1.28155]))
    assert doses[0] == pytest.approx(expected, rel=2e-3)
    assert doses[1].tolist() == doses[0].tolist()


@given(
    st.lists(st.tuples(st.floats(0, 60), st.floats(0.01, 1)), min_size=1, max_size=5), st.floats(-2, 0.5),
)  # fmt: skip
@settings(max_examples=40, deadline=None)
def test_stories_are_mixed_by_their_chances(stories: list[tuple[float, float]], rate: float) -> None:
    """The log of a story's dose is normal; between the nodes of the pace the shares are off by a hundredth or two."""
    head = np.array([0.0, *(part for part, _weight in stories[1:])])
    chance = np.array([weight for _part, weight in stories])
    chance /= chance.sum()
    ages = Ages(head[None, :], chance[None, :])
    found = like_walls(rate).doses(walls_of(1), np.zeros(1, bool), ages)[0]
    paces = NormalDist(np.log(2) - rate, SPREAD)
    shares = [
        sum(p * paces.cdf(np.log(at - h)) for h, p in zip(head, chance, strict=True) if at > h) for at in found
    ]  # fmt: skip
    assert shares == pytest.approx(QUANTILES, abs=0.02)
    assert found[0] < found[1] < found[2]


def test_a_removal_counts_and_colours_differ() -> None:
    """`again` slows or hastens only the walls whose chalk was taken off; a darker wall passes sooner."""
    like = like_walls()
    like.parameters[:, 2] = -0.5
    walls = Walls(np.tile([[0, 1]], (3, 1)), np.array([0.4, 0.4, 0.9]), 2)
    doses = like.doses(walls, np.array([False, True, False]))[:, 1]
    assert doses[1] == pytest.approx(doses[0] * np.exp(0.5), rel=1e-3)
    assert doses[2] < doses[0]
    assert like.doses(walls_of(0), np.zeros(0, bool)).shape == (0, 3)


# --- rows in, forecasts out ---


def read(wall: Any, *readings: tuple[str, float]) -> None:
    for day, reading in readings:
        make.make_reading(wall=wall, read_on=date.fromisoformat(day), reading=Decimal(str(reading)))


def read_town(count: int = 30) -> None:
    """Walls of 2012 that were all read at 1 to 2 in their eleventh to fourteenth year."""
    for k in range(count):
        wall = make.make_wall(year_fitted=2012, lightness_percent=60)
        read(wall, ("2023-06-01", 1 + k % 2 / 2), ("2026-05-01", 1.5 + k % 2 / 2))


def update(**over: Any) -> Any:
    return forecasts_update(**({"now": NOW} | over))


@pytest.mark.django_db
def test_an_unread_wall_has_the_interval_of_the_walls_like_it() -> None:
    """Wider than that of a wall that was read, in order, and marked as untested with no reading behind it."""
    read_town()
    wall = make.make_wall(year_fitted=2012, lightness_percent=60)
    counts = update()
    assert (counts.walls, counts.unread, counts.unread_forecast) == (30, 1, 1)
    row, known = WallForecast.objects.get(wall=wall), WallForecast.objects.exclude(wall=wall).first()
    assert known is not None
    assert (row.is_untested, row.last_read_on, row.reading_count, row.refusal) == (True, None, 0, "")
    assert row.early_on < row.middle_on < row.late_on
    assert row.late_dose / row.early_dose > 1.2 * known.late_dose / known.early_dose
    assert not known.is_untested
    assert (row.since, row.since_what) == (date(2012, 7, 1), "fitted")


@pytest.mark.django_db
def test_what_is_known_of_its_age_is_told_and_widens_the_interval() -> None:
    """The year it was fitted, the day of a removal, the house's year of a house that is young, of one that is old."""
    read_town()
    removal = make.make_service(name="Chalk removal", removes_chalk=True, interval_months=48)
    fitted = make.make_wall(year_fitted=2000)
    cleaned = make.make_wall()
    make.make_visit_of(removal, cleaned.property, date(2022, 5, 1))
    young, old = (make.make_wall(property=make.make_property(year_built=year)) for year in (2020, 2000))
    update()
    found = {row.wall_id: row for row in WallForecast.objects.filter(is_untested=True)}
    assert [found[wall.pk].since_what for wall in (fitted, cleaned, young, old)] == [
        "fitted", "removal", "built", "within",
    ]  # fmt: skip
    assert found[cleaned.pk].since == date(2022, 5, 1)
    assert (found[fitted.pk].since, found[old.pk].since) == (date(2000, 7, 1), date(2000, 7, 1))
    assert found[old.pk].late_dose > found[fitted.pk].late_dose
    assert "or younger: only the house's year" in forecast_facts(
        found[old.pk], reading=None, limit=LIMIT, today=TODAY
    )["since"]  # fmt: skip


@pytest.mark.django_db
def test_nothing_to_start_from_is_said_plainly() -> None:
    """No age, no removal, no year of the house: no interval, and what would help."""
    read_town()
    row_of = make.make_wall(property=make.make_property(year_built=None))
    update()
    row = WallForecast.objects.get(wall=row_of)
    said = forecast_facts(row, reading=None, limit=LIMIT, today=TODAY)
    assert (row.refusal, row.middle_on, said["verdict"]) == ("no_start", None, "too_little")
    assert said["untested"] == "Nobody has tested this wall."
    assert "Nobody knows since when it weathers" in said["refusal"]


@pytest.mark.django_db
def test_few_readings_make_no_forecast_of_the_others() -> None:
    """The fit is as unsure as what it rests on: without any reading the interval says nothing."""
    wall = make.make_wall(year_fitted=2012)
    assert update().unread_forecast == 0
    row = WallForecast.objects.get(wall=wall)
    assert (row.refusal, row.is_untested) == ("too_wide", True)
    assert "One finger test will tell more." in forecast_facts(row, reading=None, limit=LIMIT, today=TODAY)["refusal"]


@pytest.mark.django_db
def test_only_materials_that_were_read_and_vinyl() -> None:
    """Nobody looks for chalk on brick; once somebody has, walls of brick are like it."""
    read_town(5)
    brick = make.make_wall(material="brick", year_fitted=2012)
    update()
    assert not WallForecast.objects.filter(wall=brick).exists()
    read(make.make_wall(material="brick", year_fitted=2012), ("2026-05-01", 0))
    update()
    assert WallForecast.objects.filter(wall=brick, is_untested=True).exists()


@pytest.mark.django_db
def test_a_wall_that_is_no_longer_forecast_loses_its_row_and_a_reading_takes_its_place() -> None:
    """Vinyl that turns out to be brick; a wall that is read at last."""
    read_town(5)
    one, other = make.make_wall(year_fitted=2012), make.make_wall(year_fitted=2012)
    update()
    wall_update(wall=one, actor=None, material="brick")
    read(other, ("2026-05-20", 2))
    update(now=NOW + timedelta(hours=1), property_ids=[one.property_id, other.property_id])
    assert not WallForecast.objects.filter(wall=one).exists()
    row = WallForecast.objects.get(wall=other)
    assert (row.is_untested, row.last_read_on, row.reading_count) == (False, date(2026, 5, 20), 1)
    assert WallForecast.objects.count() == 6


@pytest.mark.django_db
def test_siding_that_is_newer_than_its_readings_is_untested() -> None:
    """Its readings were of other siding: it is told of as the walls like it, whatever was read before."""
    read_town()
    wall = make.make_wall(year_fitted=2025, lightness_percent=60)
    read(wall, ("2020-05-01", 3))
    update()
    row = WallForecast.objects.get(wall=wall)
    assert (row.is_untested, row.refusal, row.last_read_on) == (True, "", date(2020, 5, 1))
    said = forecast_facts(row, reading=Decimal(3), limit=LIMIT, today=TODAY)
    assert said["untested"] == "Nobody has tested this siding: it was fitted after the last reading."
    assert said["verdict"] == "later"


@pytest.mark.django_db
def test_walls_are_taken_in_parts_with_the_same_answer(monkeypatch: Any) -> None:
    """However many at once: each gets the row that it gets alone; one query more for each part."""
    read_town(3)
    for year in range(2005, 2012):
        make.make_wall(year_fitted=year)
    update()
    whole = list(WallForecast.objects.order_by("wall").values_list("wall", "early_on", "late_on"))
    monkeypatch.setattr(rows, "AT_ONCE", 3)
    assert update(now=NOW + timedelta(hours=1)).unread == 7
    assert list(WallForecast.objects.order_by("wall").values_list("wall", "early_on", "late_on")) == whole


@pytest.mark.django_db
def test_a_new_wall_is_forecast_at_once(django_capture_on_commit_callbacks: Any, settings: Any) -> None:
    """Through the service that takes it down."""
    settings.WALLDAY_BACKGROUND = "inline"
    read_town(5)
    update()
    with django_capture_on_commit_callbacks(execute=True):
        wall = wall_create(place=make.make_property(), actor=None, name="North wall", year_fitted=2012)
    assert WallForecast.objects.get(wall=wall).is_untested


# --- where it is shown ---


@pytest.fixture
def today() -> Any:
    with time_machine.travel("2026-06-01T16:00:00Z", tick=False):
        yield


def untested(early: str, middle: str, late: str, **over: Any) -> Any:
    days = {"early_on": early, "middle_on": middle, "late_on": late}
    return make.make_forecast(reading=None, **{name: date.fromisoformat(day) for name, day in days.items()}, **over)


VERDICTS = {
    Verdict.HAS_PASSED: ("2015-01-01", "2018-01-01", "2026-01-01"),
    Verdict.PROBABLY_PASSED: ("2018-01-01", "2026-05-01", "2034-01-01"),
    Verdict.THIS_SEASON: ("2020-01-01", "2026-07-01", "2038-01-01"),
    Verdict.MAY_THIS_SEASON: ("2026-07-01", "2031-07-01", "2040-01-01"),
    Verdict.LATER: ("2028-07-01", "2034-07-01", "2050-01-01"),
}


@pytest.mark.django_db
def test_the_database_sorts_untested_walls_as_the_domain_judges_them() -> None:
    """Though they have no reading to compare with the limit; and their words are about the walls like them."""
    rows_by_verdict = {verdict: untested(*days) for verdict, days in VERDICTS.items()}
    for verdict, row in rows_by_verdict.items():
        (found,) = forecast_list(limit=LIMIT, today=TODAY, verdicts=(verdict,))
        assert found == row
        assert forecast_verdict(found, reading=reading_of(found), limit=LIMIT, today=TODAY) == verdict
        said = forecast_facts(found, reading=None, limit=LIMIT, today=TODAY)
        assert "like it" in said["verdict_words"]
        assert said["month"] == ""
    assert not forecast_list(limit=LIMIT, today=TODAY, verdicts=(Verdict.AT_LIMIT,))


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("days", "words"),
    [
        (VERDICTS[Verdict.HAS_PASSED], "Nine in ten walls like it had passed 2 by January 2026."),
        (
            ("2020-01-01", "2026-07-01", "2038-01-01"),
            "Walls like it pass 2 between January 2020 and January 2038, four times in five.",
        ),
        (("2030-01-01", "2045-01-01", "2070-01-01"), "Nine in ten walls like it pass 2 only after January 2030."),
    ],
    ids=["passed", "open", "far"],
)  # fmt: skip
def test_the_interval_in_words(days: tuple[str, str, str], words: str) -> None:
    """What lies behind, around and far ahead."""
    assert like_words(untested(*days), limit=LIMIT, today=TODAY) == words


@pytest.mark.django_db
def test_the_list_names_them_apart_and_marks_them(client_of: Any, office: Any, today: Any) -> None:
    """It is of tested walls, with a way to the others, alone or below the tested ones; pins of their own."""
    late = make.make_forecast(middle_on=date(2026, 8, 1))
    unread = untested(*VERDICTS[Verdict.THIS_SEASON])
    streets = [row.wall.property.street for row in (late, unread)]
    client = client_of(office)
    tested = client.get("/chalk/?when=season&words=").content.decode()
    assert f"{streets[0]}</a>" in tested
    assert f"{streets[1]}</a>" not in tested
    assert '<a href="?when=season&amp;words=&amp;tested=untested">1 that nobody has tested</a>' in tested
    alone = client.get("/chalk/?when=season&words=&tested=untested").content.decode()
    assert f"{streets[0]}</a>" not in alone
    for words in (f"{streets[1]}</a>", "walls like it pass this season", "look at this one at the next visit"):
        assert words in alone
    both = client.get("/chalk/?when=season&tested=both").content.decode()
    assert both.index(f"{streets[0]}</a>") < both.index(f"{streets[1]}</a>")
    lines = [{"row": row, "number": 1, "verdict": "this_season", "verdict_words": "w"} for row in (late, unread)]
    assert [mark.shape for mark in marks_of(lines)] == [Shape.PLACE, Shape.GUESS]
    assert marks_of(lines)[1].note == "South wall: w (never tested)"


@pytest.mark.django_db
def test_the_file_says_who_was_tested(client_of: Any, office: Any, today: Any) -> None:
    """Nothing stands where nothing was read."""
    make.make_forecast()
    untested(*VERDICTS[Verdict.THIS_SEASON])
    answer = client_of(office).get("/chalk/walls.csv?when=all&tested=both")
    found = list(csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig"))))
    assert [(row["tested"], row["reading"], row["read_on"]) for row in found] == [
        ("yes", "1.5", "2025-05-01"), ("no", "", ""),
    ]  # fmt: skip
    assert found[1]["verdict"] == "walls like it pass this season"


@pytest.mark.django_db
def test_the_api_marks_them(client_of: Any, office: Any, today: Any) -> None:
    """And gives them alone, or the others, or all."""
    make.make_forecast()
    row = untested(*VERDICTS[Verdict.THIS_SEASON])
    client = client_of(office)
    (mine,) = client.get("/api/chalk-forecasts/?untested=true").json()["results"]
    assert (mine["wall"], mine["is_untested"], mine["reading"], mine["read_on"]) == (row.wall_id, True, None, None)
    assert mine["early_on"] == "2020-01-01"
    (other,) = client.get("/api/chalk-forecasts/?untested=false").json()["results"]
    assert other["is_untested"] is False
    assert client.get("/api/chalk-forecasts/").json()["count"] == 2
    assert client.get("/api/chalk-forecasts/?untested=perhaps").status_code == 400


@pytest.mark.django_db
def test_a_house_and_a_wall_say_that_nobody_tested(client_of: Any, office: Any, today: Any) -> None:
    """In the table, on the sketch, on the chart and on the wall's own page; with what to do and what it never does."""
    make.set_company()
    row = untested("2022-01-01", "2026-05-01", "2034-01-01")
    client = client_of(office)
    for path in (f"/properties/{row.wall.property_id}/", f"/walls/{row.wall_id}/"):
        page = client.get(path).content.decode()
        for words in (
            "Nobody has tested this wall. Walls like it pass 2 between January 2022 and January 2034",
            "at the next visit. Until then it makes nothing due, and no customer is told of it.",
            "most walls like it have passed", "never tested", 'class="band is-guess"',
        ):  # fmt: skip
            assert words in page, words
    assert "South wall: ?, never tested, most walls like it have passed your limit." in client.get(
        f"/properties/{row.wall.property_id}/"
    ).content.decode()  # fmt: skip


@pytest.mark.django_db
def test_pictures_of_an_untested_wall() -> None:
    """A bar on the limit and no point; a broken ring on the sketch; nothing where the interval says nothing."""
    row = untested(*VERDICTS[Verdict.PROBABLY_PASSED])
    chart = reading_chart([], row, limit=2.0, shape=1.0, today=TODAY)
    assert (chart.points, chart.middle) == ((), "")
    assert chart.band.endswith("z")
    assert chart.left <= chart.today_x < chart.right
    assert bar_tells(row, TODAY)
    wide = untested("2010-01-01", "2026-05-01", "2045-01-01")
    assert not bar_tells(wide, TODAY)  # it would fill the whole chart
    row.refusal = "too_wide"
    assert not bar_tells(row, TODAY)
    assert reading_chart([], row, limit=2.0, shape=1.0, today=TODAY).band == ""
    (drawn,) = house_sketch(row.wall.property, [row.wall], {}, {row.wall_id}).walls
    assert (drawn.text, drawn.is_suspect) == ("?", True)
    (plain,) = house_sketch(row.wall.property, [row.wall], {}).walls
    assert not plain.is_suspect


# --- what it must never do ---


@pytest.mark.django_db
@pytest.mark.parametrize("over", [{}, {"last_read_on": date(2020, 1, 1)}], ids=["never read", "read as other siding"])
def test_an_untested_wall_makes_nothing_due_and_is_in_no_message(
    removal: Any, today: Any, over: dict[str, Any]
) -> None:
    """Though walls like it have passed long ago: the interval dates the property, and its message names no wall."""
    row = untested(*VERDICTS[Verdict.HAS_PASSED], **over)
    if over:
        make.make_reading(wall=row.wall, reading=1, read_on=date(2020, 1, 1))
    assert due_list(today=TODAY) == list(DueSheet(today=TODAY)) == []
    make.make_interval(property=row.wall.property, service=removal, next_due_on=date(2026, 6, 10))
    (item,) = due_list(today=TODAY)
    assert list(DueSheet(today=TODAY)) == [item]
    assert (item.kind, item.due_on) == (removal.code, date(2026, 6, 10))
    (draft,) = reminder_preview(keys=[item.key], now=NOW).drafts
    assert "south wall" not in f"{draft.body}{item.reason}".lower()


@pytest.mark.django_db
def test_a_read_wall_dates_the_house_and_the_untested_one_is_not_counted(removal: Any, today: Any) -> None:
    """Neither an earlier day nor one more wall."""
    row = make.make_forecast()
    untested(*VERDICTS[Verdict.HAS_PASSED], wall=make.make_wall(property=row.wall.property, name="North wall"))
    (item,) = due_list(today=TODAY)
    assert (item.kind, item.due_on) == ("chalk", date(2026, 6, 15))
    assert "more wall" not in item.reason


@pytest.fixture
def removal() -> Any:
    make.set_company(reminder_lead_days=30, reminder_gap_days=60)
    return make.make_service(name="Chalk removal", name_es="Quitar la tiza", removes_chalk=True, interval_months=48)
