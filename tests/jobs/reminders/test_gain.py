"""The draw of the held-back group, and the interval of the gain."""

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.reminders.domain.gain import Arm, campaign_of, gain, is_held_back

MAY = date(2026, 5, 1)


def draws(percent: int, *, seed: str = "s", people: int = 20_000) -> set[int]:
    return {
        customer
        for customer in range(people)
        if is_held_back(seed=seed, customer_id=customer, campaign=MAY, percent=percent)
    }


def test_the_draw_holds_back_its_share_and_can_be_repeated() -> None:
    """5 % of 20,000 within four standard errors; the same seed says the same, another one something else."""
    held = draws(5)
    assert abs(len(held) - 1_000) < 4 * (20_000 * 0.05 * 0.95) ** 0.5
    assert draws(5) == held
    assert len(draws(5, seed="t") & held) < 150
    assert held < draws(10)
    assert draws(0) == set()
    assert len(draws(100, people=100)) == 100


def test_each_campaign_draws_anew() -> None:
    """Nobody is held back for ever."""
    june = {
        customer
        for customer in draws(5)
        if is_held_back(seed="s", customer_id=customer, campaign=date(2026, 6, 1), percent=5)
    }
    assert len(june) < 120
    assert campaign_of(date(2026, 5, 31)) == MAY


@pytest.mark.parametrize(
    ("told", "held", "low", "high"),
    [
        ((56, 70), (48, 80), 0.0524, 0.3339),
        ((9, 10), (3, 10), 0.1705, 0.8090),
        ((6, 7), (2, 7), 0.0582, 0.8062),
        ((5, 56), (0, 29), -0.0381, 0.1926),
        ((0, 10), (0, 20), -0.1611, 0.2775),
        ((0, 10), (0, 10), -0.2775, 0.2775),
        ((10, 10), (0, 20), 0.6791, 1.0),
        ((10, 10), (0, 10), 0.6075, 1.0),
    ],
)
def test_published_intervals(told: tuple[int, int], held: tuple[int, int], low: float, high: float) -> None:
    """R. G. Newcombe, Statistics in Medicine 17 (1998), table II, method 10 (95 %); recalled from memory, and each
    agrees with the formula to the fourth digit."""
    found = gain([(Arm(told[1], told[0]), Arm(held[1], held[0]))], confidence=0.95)
    assert found
    assert (found.low, found.high) == (pytest.approx(low, abs=6e-5), pytest.approx(high, abs=6e-5))
    assert found.value == pytest.approx(told[0] / told[1] - held[0] / held[1])


def test_a_changed_share_does_not_bias_the_total() -> None:
    """May 10 %, June 40 % booked in both groups, held back 5 % and then 50 %: counts thrown together would show a
    loss of a dozen points where there is nothing."""
    may, june = (Arm(950, 95), Arm(50, 5)), (Arm(500, 200), Arm(500, 200))
    together = (may[0] + june[0]).share - (may[1] + june[1]).share
    assert together < -0.12
    found = gain([may, june])
    assert found
    assert found.value == pytest.approx(0)
    assert found.low < 0 < found.high


def test_nothing_is_known_without_both_groups() -> None:
    """A campaign without a held-back group says nothing, and spoils nothing."""
    assert gain([]) is None
    assert gain([(Arm(10, 2), Arm(0, 0))]) is None
    both = (Arm(100, 20), Arm(20, 2))
    assert gain([both, (Arm(500, 400), Arm(0, 0))]) == gain([both])
    assert Arm(0, 0).share is None
    with pytest.raises(ValueError, match="3 of 2"):
        Arm(2, 3)


ARMS = st.integers(1, 300).flatmap(lambda people: st.builds(Arm, st.just(people), st.integers(0, people)))


@given(st.lists(st.tuples(ARMS, ARMS), min_size=1, max_size=6))
def test_the_interval_holds_the_gain(campaigns: list[tuple[Arm, Arm]]) -> None:
    """Always within -1 and 1, always around the value, wider for more confidence, the other way round for the groups
    exchanged."""
    found, surer = gain(campaigns), gain(campaigns, confidence=0.99)
    swapped = gain([(held, told) for told, held in campaigns])
    assert found
    assert surer
    assert swapped
    assert -1 - 1e-9 <= surer.low <= found.low <= found.value <= found.high <= surer.high <= 1 + 1e-9
    assert (swapped.value, swapped.low) == (pytest.approx(-found.value), pytest.approx(-found.high))


@given(st.integers(2, 12))
def test_more_campaigns_know_more(number: int) -> None:
    """Equal campaigns add up: the interval shrinks about with the root of their number."""
    one, many = gain([(Arm(200, 40), Arm(50, 5))]), gain([(Arm(200, 40), Arm(50, 5))] * number)
    assert one
    assert many
    assert many.high - many.low == pytest.approx((one.high - one.low) / number**0.5, rel=0.1)
