"""The ultraviolet light that a vertical wall gets in a year without clouds, by latitude, facing and shade.

The model is SPECTRL2 (Bird and Riordan, NREL TR-215-2436, 1984) as pvlib computes it, summed over 300 to 400 nm, for
the middle of each hour of five days of every month. Settings: sea level (101 325 Pa), ozone 0.31 atm-cm, water 1.42 cm,
aerosol optical depth 0.1 at 500 nm, ground albedo 0.05, sun at least 2 degrees above the horizon, sky by Hay and Davies
inside the model. Clouds, height and horizon are left out: they act on all walls of a site much alike, and only the
ratio to the site's own south face is used.

There is no constant that turns the UV index into the dose of a wall: measured in Valencia, a south wall peaks in spring
and autumn and does not follow the index (Utrillas et al., Int. J. Climatol. 32, 2012, 2066). So the sun's path is
followed for each facing.

A latitude is computed once in a process, on a grid of 2.5 degrees, and interpolated; no request runs a year of hours.
"""

from collections.abc import Sequence
from datetime import date
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

SEA_LEVEL_PASCAL = 101_325.0
OZONE_ATM_CM = 0.31
WATER_CM = 1.42
AEROSOL_DEPTH_500NM = 0.1
ALBEDO = 0.05
MOST_ZENITH_DEGREES = 88.0
UV_NANOMETRES = (300.0, 400.0)

SAMPLE_YEAR = 2023
SAMPLE_DAYS = (3, 9, 15, 21, 27)
MONTH_DAYS = np.array([31, 28.2425, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])
SECONDS_PER_HOUR = 3600
JOULES_PER_MEGAJOULE = 1e6

LATITUDE_STEP = 2.5
MOST_LATITUDE = 65.0
FACING_STEP = 15
FACINGS = tuple(range(0, 181, FACING_STEP))  # the east half; over a year without clouds west mirrors it

# What a shade leaves of the direct beam and of the light from sky and ground. Ours: no published figures for walls.
OPEN, PARTLY, MOSTLY = "open", "partly", "mostly"  # the codes of a wall's shade
SHADES = {OPEN: (1.0, 1.0), PARTLY: (0.5, 0.75), MOSTLY: (0.1, 0.4)}


def dose_table(latitude: float, *, tilt: float = 90.0, facings: Sequence[float] = FACINGS) -> Floats:
    """MJ per square metre and month of UV on planes, as [facing, month, (beam, sky and ground)].

    `latitude` in degrees north; `tilt` in degrees from the horizontal; facings in degrees, 0 north, 90 east.
    """
    import pandas as pd  # loaded only where a table is made: they take a second
    from pvlib import atmosphere, irradiance, solarposition, spectrum

    days = [date(SAMPLE_YEAR, month, day) for month in range(1, 13) for day in SAMPLE_DAYS]
    times = pd.DatetimeIndex(
        [f"{day.isoformat()}T{hour:02}:30" for day in days for hour in range(24)], tz="UTC"
    )  # longitude 0, so that noon is at noon
    sun = solarposition.get_solarposition(times, latitude, 0.0)
    sun = sun[sun["apparent_zenith"] < MOST_ZENITH_DEGREES]
    zenith, azimuth = sun["apparent_zenith"].to_numpy(), sun["azimuth"].to_numpy()
    month = sun.index.month.to_numpy() - 1
    weight = MONTH_DAYS / len(SAMPLE_DAYS) * SECONDS_PER_HOUR / JOULES_PER_MEGAJOULE
    table = np.zeros((len(facings), 12, 2))
    for row, facing in enumerate(facings):
        light = spectrum.spectrl2(
            apparent_zenith=zenith,
            aoi=irradiance.aoi(tilt, facing, zenith, azimuth),
            surface_tilt=tilt,
            ground_albedo=ALBEDO,
            surface_pressure=SEA_LEVEL_PASCAL,
            relative_airmass=atmosphere.get_relative_airmass(zenith, "kastenyoung1989"),
            precipitable_water=WATER_CM,
            ozone=OZONE_ATM_CM,
            aerosol_turbidity_500nm=AEROSOL_DEPTH_500NM,
            dayofyear=sun.index.day_of_year.to_numpy(),
        )
        beam = _uv_watts(light["wavelength"], light["poa_direct"])
        diffuse = _uv_watts(light["wavelength"], light["poa_sky_diffuse"] + light["poa_ground_diffuse"])
        for part, watts in enumerate((beam, diffuse)):
            table[row, :, part] = np.bincount(month, weights=watts, minlength=12) * weight
    return table


def _uv_watts(wavelength: Floats, spectrum: Floats) -> Floats:
    """Watts per square metre between 300 and 400 nm, by the trapezoid rule."""
    inside = (wavelength >= UV_NANOMETRES[0]) & (wavelength <= UV_NANOMETRES[1])
    return np.asarray(np.trapezoid(np.nan_to_num(spectrum[inside]), wavelength[inside], axis=0))


@lru_cache(maxsize=64)
def _grid_table(step: int) -> Floats:
    return dose_table(step * LATITUDE_STEP)


def site_table(latitude: float) -> Floats:
    """`dose_table` of vertical walls at a latitude, interpolated between grid lines; north of the equator only."""
    place = min(abs(latitude), MOST_LATITUDE) / LATITUDE_STEP
    below = int(place)
    share = place - below
    lower = _grid_table(below)
    return lower if share == 0 else (1 - share) * lower + share * _grid_table(below + 1)


def relative_doses(latitude: float, facings: Floats, shades: Sequence[str]) -> Floats:
    """Each wall's dose by month as a share of what the site's south face gets in a year: an array [wall, month].

    `facings` in degrees from north, NaN where not known: the mean of all directions is taken. South of the equator the
    face that looks to the equator is the measure, and the seasons are half a year off.
    """
    table = site_table(latitude)
    south = table[-1].sum()
    turned = np.mod(facings, 360.0)
    away = np.where(turned > 180, 360 - turned, turned)
    if latitude < 0:
        away, table = 180 - away, np.roll(table, 6, axis=1)
    kept = np.array([SHADES[shade] for shade in shades]).reshape(-1, 2)
    at = np.nan_to_num(away) / FACING_STEP
    below = np.minimum(at.astype(int), len(FACINGS) - 2)
    share = (at - below)[:, None, None]
    light = (1 - share) * table[below] + share * table[below + 1]
    light = np.where(np.isnan(facings)[:, None, None], (table[:-1] + table[1:]).mean(axis=0) / 2, light)
    return np.asarray((light * kept[:, None, :]).sum(axis=2) / south)


def yearly_share(latitude: float, facing_degrees: float | None, shade: str = OPEN) -> float:
    """A wall's yearly dose as a share of the site's south face."""
    facing = np.array([np.nan if facing_degrees is None else float(facing_degrees)])
    return float(relative_doses(latitude, facing, [shade]).sum())
