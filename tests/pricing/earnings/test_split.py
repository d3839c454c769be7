"""The shortfall to the target in parts that add up to the cent."""

from fractions import Fraction
from itertools import permutations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pricing.earnings.domain.split import Cause, SplitSums, shortfall, shortfall_per_crew_hour

TIME = st.integers(0, 200_000)
MONEY = st.integers(-5_000_000, 50_000_000)
SUMS = st.builds(
    SplitSums,
    estimated_time=TIME,
    on_site_time=TIME,
    drive_time=TIME,
    callback_time=TIME,
    card_cents=MONEY,
    agreed_cents=MONEY,
    callback_cents=st.integers(0, 100_000),
    refund_cents=st.integers(0, 5_000_000),
)
TARGETS = st.integers(1, 50_000)


@given(SUMS, TARGETS)
def test_the_parts_add_up_to_the_cent(sums, target):
    """On random histories: the parts are the whole, and the whole is the hours at the target less the money."""
    found = shortfall(sums, target)
    assert sum(cents for _, cents in found.parts) == found.total_cents
    assert abs(Fraction(target * sums.time, 120) - sums.earned_cents - found.total_cents) <= Fraction(1, 2)


@given(SUMS, TARGETS)
def test_the_parts_of_an_hour_add_up_to_what_the_page_shows(sums, target):
    """Target less earned per crew-hour, both as shown, is what the parts of an hour add up to."""
    found = shortfall_per_crew_hour(sums, target)
    if sums.time == 0:
        assert found is None
    else:
        assert sum(cents for _, cents in found.parts) == found.total_cents
        earned = Fraction(sums.earned_cents * 120, sums.time)
        assert abs(target - earned - found.total_cents) <= Fraction(1, 2)


@given(SUMS, TARGETS)
def test_each_part_is_its_shapley_value(sums, target):
    """The average, over all orders of taking the causes away, of what taking one away changes."""
    names = ["price", "minutes", "driving", "callbacks", "refunds"]
    orders = list(permutations(names))
    share = dict.fromkeys(names, Fraction(0))
    for order in orders:
        present = set(names)
        for name in order:
            before = _short(sums, target, present)
            present.remove(name)
            share[name] += before - _short(sums, target, present)
    parts = dict(shortfall(sums, target).parts)
    for name in names:
        assert abs(share[name] / len(orders) - parts[Cause(name)]) < 1
    assert abs(_short(sums, target, set()) - parts[Cause.CARD]) < 1


def _short(sums, target, present):
    """The shortfall of a company in which only the causes ``present`` happened."""
    time = sums.on_site_time if "minutes" in present else sums.estimated_time
    money = sums.agreed_cents if "price" in present else sums.card_cents
    time += sums.drive_time if "driving" in present else 0
    time += sums.callback_time if "callbacks" in present else 0
    money += sums.callback_cents if "callbacks" in present else 0
    money -= sums.refund_cents if "refunds" in present else 0
    return Fraction(target * time, 120) - money


def test_a_job_worked_by_hand():
    """Two hours estimated, three needed, one driven, half of one to come back, $40 below a card of $500, $20 back.

    At $180: card 360 - 500 = -140, price 40, minutes 180, driving 180, callbacks 90, refunds 20: 370 in all;
    hours: 3 + 1 + 0.5 = 4.5 hours x 180 = 810 less 440 = 370.
    """
    sums = SplitSums(240, 360, 120, 60, 500_00, 460_00, 0, 20_00)
    found = shortfall(sums, 180_00)
    assert dict(found.parts) == {
        "card": -140_00,
        "price": 40_00,
        "minutes": 180_00,
        "driving": 180_00,
        "callbacks": 90_00,
        "refunds": 20_00,
    }
    assert found.total_cents == 370_00


def test_the_largest_cause():
    """Driving takes most here."""
    assert shortfall(SplitSums(120, 120, 240, 0, 180_00, 180_00, 0, 0), 180_00).largest == Cause.DRIVING


@pytest.mark.parametrize("target", [1, 7, 99, 17_999])
def test_rounding_leaves_nothing_over(target):
    """Sixths of a cent everywhere."""
    found = shortfall(SplitSums(1, 2, 3, 5, 0, 0, 0, 0), target)
    assert sum(cents for _, cents in found.parts) == found.total_cents
