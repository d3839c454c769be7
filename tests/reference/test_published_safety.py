"""Nozzles, heat, ladders and lines against published figures, each with its source and how far it was verified."""

import math

import pytest

from routing.dispatch.domain.nozzles import nozzle_flow, nozzle_number, nozzle_size
from routing.dispatch.domain.safety import (
    SUN_ADDS_F,
    heat_band,
    heat_index_f,
    ladder_foot_feet,
    ladder_reach_feet,
    lightning_miles,
    line_clearance_inches,
    thunder_over_minute,
)
from routing.dispatch.mix_notes import EYEWASH_LEAST_ML
from shared.units import ML_PER_US_GALLON


@pytest.mark.parametrize(
    ("flow", "psi", "number", "size"),
    [(5, 2500, 6.32, 6.5), (4, 4000, 4.0, 4.0), (3, 3000, 3.46, 3.5), (4, 1000, 8.0, 8.0), (8.5, 500, 24.0, 24.5)],
)
def test_nozzle_number(flow: float, psi: float, number: float, size: float) -> None:
    """Flow times the root of 4000 / pressure (formula and the chart's rows verified; the chart's 10.0 for 8.5 at 500 is
    a misprint, 24.0 is computed)."""
    assert nozzle_number(flow, psi) == pytest.approx(number, abs=0.05)
    assert nozzle_size(flow, psi) == size


def test_nozzle_flow() -> None:
    """A number 5 at 2,000 psi lets 3.54 gallons a minute through (verified)."""
    assert nozzle_flow(5, 2000) == pytest.approx(3.54, abs=0.005)


@pytest.mark.parametrize(
    ("fahrenheit", "humidity", "index"),
    [
        # National Weather Service SR 90-23; 96/65 was seen in its table (121), the others computed from its formula.
        (96, 65, 121.0), (90, 70, 105.9), (100, 50, 118.3), (86, 90, 105.4), (84, 90, 98.3), (100, 10, 94.1),
        (88, 55, 93.0), (80, 40, 79.8), (75, 50, 74.8),
    ],
)  # fmt: skip
def test_heat_index(fahrenheit: float, humidity: float, index: float) -> None:
    assert heat_index_f(fahrenheit, humidity) == pytest.approx(index, abs=0.1)


@pytest.mark.parametrize(
    ("index", "band"),
    [(90.9, "lower"), (91.0, "moderate"), (103.0, "moderate"), (103.1, "high"), (115.0, "high"), (115.1, "very_high")],
)
def test_heat_bands(index: float, band: str) -> None:
    """Bands of the older heat tool of the safety administration (seen as a copy): 103 itself we count as moderate."""
    assert heat_band(index) == band


def test_ladder() -> None:
    """Working length 20 ft: foot out 5.0 ft, reach 19.36 ft, 75.52 degrees (29 CFR 1926.1053: angle verified, quarter
    rule from memory, figures computed). A quarter of the height would give 75.96 degrees."""
    assert ladder_foot_feet(20) == 5.0
    assert ladder_reach_feet(20) == pytest.approx(19.36, abs=0.01)
    angle = math.degrees(math.acos(ladder_foot_feet(20) / 20))
    assert angle == pytest.approx(75.52, abs=0.01)
    assert abs(angle - math.degrees(math.atan(4))) == pytest.approx(0.44, abs=0.01)


@pytest.mark.parametrize(("kilovolts", "inches"), [(0, 120), (50, 120), (115, 146)])
def test_line_clearance(kilovolts: float, inches: float) -> None:
    """10 ft to 50 kV; 115 kV: 12 ft 2 in (Washington's WAC 296-874-20046, verified; 29 CFR 1910.333 from memory)."""
    assert line_clearance_inches(kilovolts) == pytest.approx(inches)


def test_full_sun() -> None:
    """Full sun adds up to 15 F: a heat index of 90 is planned for as 105 (safety administration, verified)."""
    assert heat_band(90 + SUN_ADDS_F) == "high"


def test_after_thunder() -> None:
    """Last thunder at 14:07: on again at 14:37, and each new thunder counts anew (OSHA/NOAA fact sheet 3863 as quoted,
    verified)."""
    assert thunder_over_minute(14 * 60 + 7) == 14 * 60 + 37
    assert thunder_over_minute(14 * 60 + 20) == 14 * 60 + 50


@pytest.mark.parametrize(("seconds", "miles"), [(5, 1), (30, 6)])
def test_flash_to_bang(seconds: float, miles: float) -> None:
    """Five seconds for a mile; 30 s are 6 miles (seen as a copy)."""
    assert lightning_miles(seconds) == miles


def test_eyewash() -> None:
    """0.4 gallons a minute for 15 minutes are 6 gallons (29 CFR 1910.151(c) with WAC 296-800-15030, verified)."""
    assert pytest.approx(EYEWASH_LEAST_ML, abs=1) == 0.4 * 15 * ML_PER_US_GALLON
