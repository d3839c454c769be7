"""Cautions where they matter, and nowhere else."""

from typing import Any

import pytest
from django.utils import translation

from jobs.work.models import Job
from pricing.catalogue.defaults import SERVICES
from routing.dispatch.cautions import OF_MIXES, Hazard, common_cautions, hazards_of, paint_is_old, stop_cautions
from tests import factories

pytestmark = pytest.mark.django_db
WET = {Hazard.EYES, Hazard.PLANTS, Hazard.DRAIN}


def job_of(*skills: str, unit: str = "wall_sqft", **place: Any) -> Job:
    service = factories.make_service(unit=unit, skills=[factories.make_skill(code=code) for code in skills])
    return factories.make_job(
        property=factories.make_property(**{"storeys": 1} | place), lines=[{"service": service, "quantity": 100}]
    )


@pytest.mark.parametrize(
    ("skills", "unit", "storeys", "chemistries", "hazards"),
    [
        ([], "wall_sqft", 1, {"hypochlorite"}, WET | {Hazard.GAS, Hazard.CHALK, Hazard.LINES}),
        ([], "wall_sqft", 2, {"alkaline"}, WET | {Hazard.CHALK, Hazard.LADDER, Hazard.LINES}),
        ([], "wall_sqft", 1, set(), WET | {Hazard.GAS, Hazard.CHALK, Hazard.LINES}),
        (["surface_cleaner"], "flat_sqft", 1, {"surfactant"}, WET),
        (["ladder"], "linear_ft", 1, set(), {Hazard.LADDER, Hazard.LINES}),
        (["ladder"], "linear_ft", 1, {"acid"}, WET | {Hazard.GAS, Hazard.LADDER, Hazard.LINES}),
        (["pure_water"], "pane", 1, set(), {Hazard.LINES}),
        ([], "each", 1, set(), set()),
    ],
)
def test_what_can_hurt(skills: list[str], unit: str, storeys: int, chemistries: set[str], hazards: set[Hazard]) -> None:
    """Windows from the ground need no word of eyes and plants, gutters none of storm drains, a deck none of chalk."""
    assert hazards_of(job_of(*skills, unit=unit, storeys=storeys), chemistries) == hazards


def test_each_once_and_where() -> None:
    """Said once for the day; with the numbers of the stops where it is not all of them; in Spanish too."""
    stops = [(1, frozenset({Hazard.EYES, Hazard.CHALK})), (2, frozenset({Hazard.EYES})), (3, frozenset({Hazard.EYES}))]
    eyes, chalk = common_cautions(stops)
    assert eyes.endswith("for 15 minutes.")
    assert chalk.endswith("show it to the homeowner. (stops 1)")
    assert common_cautions(stops, OF_MIXES) == (eyes,)
    assert common_cautions([]) == ()
    with translation.override("es"):
        assert common_cautions(stops)[1].endswith("(paradas 1)")


@pytest.mark.parametrize(
    ("material", "old_paint", "year_built", "is_old"),
    [
        ("painted_wood", "unknown", 1977, True),
        ("painted_wood", "unknown", 1978, False),
        ("painted_wood", "unknown", None, None),
        ("painted_wood", "no", 1931, False),
        ("vinyl", "unknown", None, False),
        ("vinyl", "yes", 1990, True),
    ],
)
def test_old_paint(material: str, old_paint: str, year_built: int | None, is_old: bool | None) -> None:
    """Houses built before 1978 (40 CFR 745.83), by what is known of the wall first."""
    job = job_of(year_built=year_built)
    wall = factories.make_wall(property=job.property, material=material, old_paint=old_paint)
    assert paint_is_old(wall, job) is is_old


def test_paint_of_an_unknown_age_is_said() -> None:
    job = job_of(year_built=None)
    assert not any("paint" in words for words in stop_cautions(job, ()))
    factories.make_wall(property=job.property, material="painted_wood")
    assert any("Age of the paint unknown" in words for words in stop_cautions(Job.objects.get(pk=job.pk), ()))


def test_cautions_of_the_catalogue_in_spanish() -> None:
    """Every caution that a new company begins with, so that no crew reads half of them in English."""
    with translation.override("es"):
        for each in SERVICES:
            service = factories.make_service(cautions="\n".join(each.cautions))
            job = factories.make_job(lines=[{"service": service}])
            assert not set(stop_cautions(job, ())) & set(each.cautions), each.code
