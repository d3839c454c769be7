"""Doses of walls: shade, unknown facings, the other half of the earth."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from jobs.chalking.domain.sun import SHADES, dose_table, relative_doses, site_table, yearly_share
from jobs.customers.models import Shade


def test_every_shade_that_a_wall_can_have_is_known():
    """The codes are those of the wall, and more shade never lets more light through."""
    assert set(SHADES) == set(Shade.values)
    assert yearly_share(40, 180, "open") > yearly_share(40, 180, "partly") > yearly_share(40, 180, "mostly") > 0


def test_a_wall_of_unknown_facing_gets_the_mean_of_all_directions():
    """The mean over the compass by the table's own steps, west mirroring east."""
    around = np.mean([yearly_share(40, facing) for facing in range(0, 360, 15)])
    assert yearly_share(40, None) == pytest.approx(around)


def test_south_of_the_equator_the_north_face_is_the_measure():
    """The year is mirrored: facing about, seasons half a year off."""
    north, south = np.array([150.0]), np.array([30.0])
    mirrored = np.roll(relative_doses(35.0, north, ["open"]), 6, axis=1)
    assert relative_doses(-35.0, south, ["open"]) == pytest.approx(mirrored)
    assert yearly_share(-35.0, 0) == pytest.approx(1.0)


@pytest.mark.parametrize("latitude", [26.2, 41.3])
def test_between_two_grid_lines_the_table_is_what_the_model_gives(latitude):
    """Interpolation over latitude stays within two in a thousand of the model itself."""
    assert site_table(latitude).sum(axis=(1, 2)) == pytest.approx(dose_table(latitude).sum(axis=(1, 2)), rel=2e-3)


@settings(max_examples=60, deadline=None)
@given(st.sampled_from([30.0, 36.0, 40.0]), st.integers(0, 359), st.sampled_from(sorted(SHADES)))
def test_east_mirrors_west_and_months_add_up(latitude, facing, shade):
    """Any wall: the months are the year, west equals east, and no dose is negative."""
    doses = relative_doses(latitude, np.array([facing, (360 - facing) % 360], dtype=float), [shade, shade])
    assert (doses >= 0).all()
    assert doses[0] == pytest.approx(doses[1])
    assert doses[0].sum() == pytest.approx(yearly_share(latitude, facing, shade))
