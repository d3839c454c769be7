"""Verdicts against the target, many kinds at once."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pricing.earnings.domain.ratio import Moments, ratio_estimate, two_sided_p
from pricing.earnings.domain.verdict import FAMILY_ERROR, MINIMUM_JOBS, Verdict, holm, verdicts

TARGET = 300.0  # cents a crew-minute: $180 a crew-hour


def kind(per_minute, n, seed, noise=0.2):
    """A kind of n jobs that truly earns ``per_minute``."""
    rng = np.random.default_rng(seed)
    minutes = rng.lognormal(np.log(120), 0.4, n)
    cents = minutes * per_minute * (1 + noise * rng.standard_normal(n))
    return Moments.of(list(zip(minutes.tolist(), cents.tolist(), strict=True)))


def test_clear_kinds_are_told_apart():
    """Far below, far above, on the target, and far below with too few jobs."""
    kinds = [kind(200, 80, 1), kind(420, 80, 2), kind(300, 80, 3), kind(150, MINIMUM_JOBS - 1, 4)]
    assert verdicts(kinds, TARGET) == [Verdict.BELOW, Verdict.ABOVE, Verdict.NOT_ENOUGH, Verdict.NOT_ENOUGH]


def test_the_minimum_number_of_jobs_is_enough():
    """The very minimum of clear jobs gets a verdict."""
    assert verdicts([kind(150, MINIMUM_JOBS, 4)], TARGET) == [Verdict.BELOW]


def test_kinds_without_time_or_jobs_are_not_judged():
    """An empty kind, and one with refunds only, stay open and do not disturb the others."""
    empty = Moments(0, 0, 0, 0, 0, 0)
    refunds = Moments.of([(0.0, -100.0)] * 10)
    assert verdicts([empty, refunds, kind(150, 60, 5)], TARGET) == [
        Verdict.NOT_ENOUGH,
        Verdict.NOT_ENOUGH,
        Verdict.BELOW,
    ]
    assert verdicts([], TARGET) == []


def test_one_of_many_needs_more_than_one_alone():
    """A kind just below alone is open among ten: the price of looking at many.

    40 jobs of 100 minutes at 278 -+ 60 cents a minute: s = 60 sqrt(40/39), t = 22 / (s / sqrt(40)) = 2.29.
    """
    just_below = Moments.of([(100.0, 33_800.0), (100.0, 21_800.0)] * 20)
    on_target = Moments.of([(100.0, 33_000.0), (100.0, 27_000.0)] * 20)
    p = two_sided_p(just_below, TARGET)
    assert FAMILY_ERROR / 10 < p < FAMILY_ERROR
    assert verdicts([just_below], TARGET) == [Verdict.BELOW]
    assert verdicts([just_below] + [on_target] * 9, TARGET)[0] == Verdict.NOT_ENOUGH


def test_above_needs_twice_the_evidence_of_below():
    """Mirror images with the same p of about 2.7 %: enough for *below* alone, not for *above*.

    40 jobs of 100 minutes at 278 or 322 -+ 60 cents a minute; a history that lacks the rare long job looks like the
    second.
    """
    short = Moments.of([(100.0, 33_800.0), (100.0, 21_800.0)] * 20)
    long = Moments.of([(100.0, 26_200.0), (100.0, 38_200.0)] * 20)
    assert two_sided_p(short, TARGET) == pytest.approx(two_sided_p(long, TARGET))
    assert FAMILY_ERROR / 2 < two_sided_p(long, TARGET) < FAMILY_ERROR
    assert verdicts([short], TARGET) == [Verdict.BELOW]
    assert verdicts([long], TARGET) == [Verdict.NOT_ENOUGH]


def test_ten_kinds_at_the_target_seldom_alarm():
    """Of 400 seeded reports over ten kinds that earn exactly the target, at most 7 % hold any verdict at all.

    The stated level is 5 %; 400 reports leave a standard error of 1.1 %.
    """
    reports = [[kind(300, 25, 1000 * r + i) for i in range(10)] for r in range(400)]
    alarms = sum(any(v != Verdict.NOT_ENOUGH for v in verdicts(report, TARGET)) for report in reports)
    assert alarms / 400 <= 0.07


def test_holm_by_hand():
    """Four tests at 5 %: limits 0.0125, 0.0167, 0.025, 0.05 by size; the third fails, so do the rest.

    0.005 <= 0.0125 rejected; 0.015 <= 0.0167 rejected; 0.030 > 0.025 stops; 0.040 is not looked at.
    """
    assert holm([0.040, 0.015, 0.030, 0.005], 0.05) == [False, True, False, True]


@given(st.lists(st.floats(0, 1), max_size=12))
def test_holm_lies_between_bonferroni_and_no_guard(p_values):
    """It rejects all that Bonferroni rejects, and nothing that a single test would not."""
    m = max(1, len(p_values))
    for p, rejected in zip(p_values, holm(p_values, 0.05), strict=True):
        assert rejected or p > 0.05 / m
        assert not rejected or p <= 0.05


@given(
    st.lists(st.tuples(st.integers(30, 600), st.integers(1, 200_000)), min_size=MINIMUM_JOBS, max_size=30),
    st.floats(10, 900),
)
def test_a_verdict_never_contradicts_the_interval_shown(pairs, target):
    """*Below* is only said where the whole 90 % interval is below the target, *above* likewise."""
    moments = Moments.of([(float(x), float(y)) for x, y in pairs])
    verdict = verdicts([moments], target)[0]
    estimate = ratio_estimate(moments)
    if verdict == Verdict.BELOW and estimate.high is not None:
        assert estimate.high <= target * (1 + 1e-9)
    if verdict == Verdict.ABOVE and estimate.low is not None:
        assert estimate.low >= target * (1 - 1e-9)
