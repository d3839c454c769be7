"""A day's weather as the office wrote it down, and what the crews read of it."""

import json
from datetime import UTC, date, datetime
from io import StringIO
from typing import Any

import pytest
import time_machine
from django.core.management import CommandError, call_command
from django.utils import translation

from routing.dispatch.models import DayWeather, SentStop
from routing.dispatch.selectors.sheets import sheet_of_route
from routing.dispatch.services import day_weather_set, plan_send_out
from routing.dispatch.weather_words import weather_words
from shared.events.models import Event
from tests import factories

pytestmark = pytest.mark.django_db
HOT = {"high_f": 96, "humidity_percent": 65}


@pytest.fixture
def plan(crew_lead: Any) -> Any:
    crew = factories.make_crew(lead=crew_lead, code="A")
    return factories.make_planned_day((crew, [factories.make_job(), factories.make_job()]))


def words_of(**values: Any) -> str:
    row = DayWeather(yard_id=1, work_date=date(2026, 7, 1), **{"high_f": 72, "humidity_percent": 50} | values)
    return " ".join(weather_words(row))


def test_a_hot_day_with_thunder() -> None:
    """96 F with 65 % is a heat index of 121 F, as the published table has it."""
    words = words_of(**HOT, has_thunder=True)
    assert "Up to 96 F with 65 % humidity." in words
    assert (
        "HEAT: Feels like 121 F in the shade, up to 136 F in full sun (very high: put the work off where you can)."
        in words
    )
    assert "A break of 15 minutes every 2 hours (proposed federal rule of 2024, not final)." in words
    assert "THUNDER is forecast: stop when you hear it" in words


@pytest.mark.parametrize(
    ("values", "said", "not_said"),
    [
        ({}, ["Thunder: stop when you hear it"], ["HEAT", "FROST", "WIND", "is forecast", "break of 15"]),
        ({"high_f": 82, "humidity_percent": 45}, ["HEAT: Feels like 82 F"], ["break of 15"]),
        ({"high_f": 39}, ["FROST"], ["HEAT"]),
        ({"high_f": 40}, [], ["FROST"]),
        ({"wind_mph": 20}, ["WIND of 20 mph"], []),
        ({"wind_mph": 19}, [], ["WIND"]),
    ],
)
def test_what_matters_that_day_and_no_more(values: dict[str, Any], said: list[str], not_said: list[str]) -> None:
    words = words_of(**values)
    assert all(part in words for part in said)
    assert not any(part in words for part in not_said)


def test_without_anything_written_down() -> None:
    """The usual words of heat and thunder, which hold on any day."""
    words = weather_words(None)
    assert [part.partition(":")[0] for part in words] == ["Heat", "Thunder"]


def test_in_spanish() -> None:
    with translation.override("es"):
        assert "CALOR: Se siente como 121 F a la sombra" in words_of(**HOT)


def test_the_office_writes_it_down_and_the_crew_reads_it(
    client_of: Any, office: Any, crew_lead: Any, plan: Any, assert_query_count: Any
) -> None:
    client, address = client_of(office), f"/day-plans/{plan.pk}/weather/"
    assert "Not written down yet." in client.get(address).content.decode()
    assert client.post(address, HOT | {"has_thunder": "on"}).status_code == 302
    with assert_query_count("weather of a day"):
        page = client.get(address).content.decode()
    assert "Feels like 121 F" in page
    assert 'value="96"' in page
    assert "Feels like 121 F" in " ".join(sheet_of_route(route_id=plan.routes.get().pk).weather)
    plan_send_out(plan=plan, expected_version=1)
    sent = client_of(office).get(f"/day-plans/{plan.pk}/sent/").content.decode()
    assert address in sent
    stop = SentStop.objects.filter(route__sent__plan=plan).first()
    with time_machine.travel(datetime(2026, 6, 2, 16, tzinfo=UTC), tick=False):
        for page in ("/crew/", f"/crew/stops/{stop.pk}/work/"):
            assert "Feels like 121 F" in client_of(crew_lead).get(page).content.decode(), page
    assert client_of(crew_lead).get(address).status_code == 403
    assert Event.objects.filter(kind="weather.set").count() == 1


@pytest.mark.parametrize(
    "over",
    [{"high_f": "131"}, {"high_f": "NaN"}, {"high_f": ""}, {"humidity_percent": "-1"}, {"humidity_percent": "101"}]
    + [{"wind_mph": "1e9"}, {"high_f": "9" * 40}],
)
def test_nonsense_is_refused_and_nothing_lost(client_of: Any, office: Any, plan: Any, over: dict[str, str]) -> None:
    """The form comes back with what was typed; what stood there still stands."""
    day_weather_set(yard=plan.yard, work_date=plan.work_date, high_f=70, humidity_percent=40)
    answer = client_of(office).post(f"/day-plans/{plan.pk}/weather/", HOT | over)
    assert answer.status_code == 422
    assert all(f'value="{typed}"' in answer.content.decode() for typed in over.values() if typed)
    assert (DayWeather.objects.get().high_f, DayWeather.objects.get().humidity_percent) == (70, 40)


def test_by_program(client_of: Any, office: Any, crew_lead: Any, plan: Any) -> None:
    client, address = client_of(office), f"/api/day-plans/{plan.pk}/weather/"
    assert client.get(address).status_code == 404
    made = client.put(address, HOT, "application/json").json()
    assert (made["heat_index_f"], made["has_thunder"], made["wind_mph"]) == (121, False, None)
    assert client.get(address).json() == made
    wrong = client.put(address, HOT | {"humidity_percent": 650}, "application/json")
    assert (wrong.status_code, client.get(address).json()) == (400, made)
    assert client_of(crew_lead).put(address, HOT, "application/json").status_code == 403


def test_by_command(plan: Any) -> None:
    def out_of(*arguments: str) -> str:
        out = StringIO()
        call_command("day_weather", "--yard", plan.yard.code, "--date", "2026-07-01", *arguments, stdout=out)
        return out.getvalue()

    with pytest.raises(CommandError, match="No weather is written down for 2026-07-01"):
        out_of()
    assert "heat index 121 F" in out_of("--high", "96", "--humidity", "65", "--thunder")
    assert "THUNDER is forecast" in json.loads(out_of("--json"))["words"][-1]
    with pytest.raises(CommandError, match="together"):
        out_of("--high", "96")
    with pytest.raises(CommandError, match="less than or equal to 100"):
        out_of("--high", "96", "--humidity", "165")
    assert DayWeather.objects.get().humidity_percent == 65
