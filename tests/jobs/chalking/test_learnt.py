"""What the readings taught: from the prior alone, from a town, and on the page, in the API and by the command."""

import json
from datetime import date
from typing import Any

import numpy as np
import pytest
from django.core.management import call_command

from jobs.chalking.domain.findings import What, findings
from jobs.chalking.domain.fitting import Fit, fit
from jobs.chalking.domain.growth import NAMES, Readings, Walls, prior_of
from jobs.chalking.learnt import chalk_learnt
from jobs.chalking.services import forecasts_update
from tests import factories as make

GROUPS = ("material vinyl", "material brick", "kind face", "kind trim", "reader unknown", "reader 7")
FINDINGS = (*NAMES, *GROUPS)


def prior_fit() -> Fit:
    mean, spread = prior_of(4, 2)
    return Fit(mean, np.diag(spread**2), 0, 0.0)


def test_without_readings_now_is_what_was_before() -> None:
    """Each range is in order and the same twice; a wall of the prior takes two to twenty years, four times in five."""
    told = findings(FINDINGS, prior_fit(), prior_fit(), limit=2.0)
    assert {(each.what, each.subject) for each in told} == {
        *((what, "") for what in (What.YEARS, What.DARK, What.AGAIN, What.PACE, What.RAIN, What.OFF)),
        (What.MATERIAL, "brick"), (What.KIND, "trim"), (What.READER, "7"),
    }  # fmt: skip
    assert all(each.before == each.now and each.now.low < each.now.middle < each.now.high for each in told)
    years = told[0].now
    assert years.low < 2.5
    assert years.middle == pytest.approx(2 / 0.35, rel=0.1)
    assert years.high > 15


def test_a_reader_who_reads_higher_and_a_slower_material_are_found() -> None:
    """200 walls read twice: brick at half the pace, reader 7 half a step higher than nobody in particular."""
    rng = np.random.default_rng(2)
    brick = np.arange(200) % 2
    walls = Walls(np.stack([brick, np.full(200, 2)], axis=1), np.full(200, 0.4), 4)
    wall, reader = np.repeat(np.arange(200), 2), np.tile([0, 1], 200)
    dose = rng.uniform(2, 9, 400)
    level = 0.4 * np.exp(0.3 * rng.standard_normal(200))[wall] * np.where(brick, 0.5, 1.0)[wall] * dose
    step = np.clip(np.round(2 * (level + 0.5 * reader + rng.logistic(0, 0.15, 400))), 0, 10).astype(int)
    nothing = np.zeros(400, bool)
    found = fit(walls, Readings(wall, step, dose, nothing, reader, nothing, 2))
    told = {(each.what, each.subject): each for each in findings(FINDINGS, found, prior_fit(), limit=2.0)}
    assert told[What.READER, "7"].now.middle == pytest.approx(0.5, abs=0.12)
    assert told[What.MATERIAL, "brick"].now.middle == pytest.approx(0.5, abs=0.1)
    assert told[What.YEARS, ""].now.middle == pytest.approx(5.0, rel=0.15)
    assert told[What.PACE, ""].now.middle == pytest.approx(np.exp(1.2816 * 0.3), rel=0.08)
    learnt = {what for what, each in told.items() if each.is_learnt}
    assert learnt == {
        (What.READER, "7"),
        (What.MATERIAL, "brick"),
        *((w, "") for w in (What.YEARS, What.PACE, What.OFF)),
    }


@pytest.fixture
def company() -> None:
    make.set_company()
    reader = make.make_user(username="dana", first_name="Dana", last_name="Reed")
    for number in range(6):
        wall = make.make_wall(name=f"wall {number}", year_fitted=2012, material=("vinyl", "aluminium")[number % 2])
        for year in (2022, 2024, 2026):
            make.make_reading(wall=wall, read_on=date(year, 5, 1), reading=1, read_by=reader if number else None)


@pytest.mark.django_db
def test_nothing_is_learnt_before_the_first_fit(client_of: Any, office: Any, crew_lead: Any, capsys: Any) -> None:
    """Page, API and command say so; the crew has other pages."""
    assert chalk_learnt() == (None, [])
    assert "Nothing is learnt yet" in client_of(office).get("/chalk/learnt/").content.decode()
    assert client_of(office).get("/api/chalk-learnt/").json() == []
    assert client_of(crew_lead).get("/chalk/learnt/").status_code == 403
    assert client_of(crew_lead).get("/api/chalk-learnt/").status_code == 403
    call_command("forecast_chalk", "--learnt")
    assert "Nothing is learnt yet." in capsys.readouterr().out


@pytest.mark.django_db
def test_what_was_learnt_is_told_with_what_was_believed_before(
    client_of: Any, office: Any, company: None, capsys: Any
) -> None:
    """Readers by their names, only the materials that were read; the same on the page, in the API, by command."""
    forecasts_update(now=make.MOMENT)
    page = client_of(office).get("/chalk/learnt/").content.decode()
    for words in (
        "18 readings of 6 walls",
        "Dana Reed reads higher than others by",
        "Aluminium against vinyl",
        "is our own",
    ):
        assert words in page
    assert "Brick" not in page
    told = client_of(office).get("/api/chalk-learnt/").json()
    years = told[0]
    assert (years["what"], years["is_learnt"]) == ("years", True)
    assert 14 < years["now"]["middle"] < 45
    call_command("forecast_chalk", "--learnt", "--json")
    assert [line["words"] for line in json.loads(capsys.readouterr().out)] == [line["words"] for line in told]
