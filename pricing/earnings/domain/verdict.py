"""*Below*, *above* or *not enough to tell*: each kind of job against the hourly target.

A kind is judged by the t test that its interval comes from (see ratio.py), under three guards:

- Fewer than MINIMUM_JOBS jobs are never judged. With so few, one odd job makes the verdict.
- Minutes have a long tail: a job may take thrice its time, never a third of nothing. A history in which the rare long
  job has not come yet looks better than the truth, and steady besides, so the t test says *above* more often than it
  should, and *below* less often. So *above* must pass the test at half the error (ABOVE_FACTOR); *below*, on which
  people act, stays as it is. In tests/benchmarks/earnings.py, wild spread, 25 jobs a kind, 7.3 % of reports say *above*
  without this and 0.4 % *below*; with it 4.6 % err either way. Student's t after Johnson or Hall, which corrects for
  the skewness of the sample, errs more often still (11 %): the sample lacks the very jobs that make it skewed.
- Many kinds are judged at once, and each test errs now and then. Holm's step-down keeps the chance of ANY
  wrong verdict in one report at or under FAMILY_ERROR, however many kinds there are: the p values are sorted,
  the smallest must be under FAMILY_ERROR / m, the next under FAMILY_ERROR / (m - 1), and so on until one
  fails. With ten kinds that all earn exactly the target, a report once a month gives a false alarm in at most
  one month of twenty, where ten unguarded 90 % intervals would give one in two months of three.

The interval shown stays the plain 90 % one, since it describes one kind. So an interval may lie wholly below
the target and the verdict still be *not enough to tell*; the page says so.

Judged kinds are those with enough jobs; the others are not part of the family. Reports over the same jobs
again are not independent looks; no further correction is made for looking every month.

Sources: S. Holm, Scand. J. Statist. 6 (1979) 65-70; that the direction of each rejected test may be stated
at the same error rate for independent tests: J. P. Shaffer, Ann. Statist. 8 (1980) 1342-1347. From memory.
"""

from collections.abc import Sequence
from enum import StrEnum

from pricing.earnings.domain.ratio import Moments, two_sided_p

MINIMUM_JOBS = 8
FAMILY_ERROR = 0.05
ABOVE_FACTOR = 2  # on the p value of a kind that looks better than the target


class Verdict(StrEnum):
    """How a kind of job stands to the hourly target."""

    BELOW = "below"
    ABOVE = "above"
    NOT_ENOUGH = "not_enough_to_tell"


def verdicts(kinds: Sequence[Moments], target: float) -> list[Verdict]:
    """Judge all kinds of one report together against ``target``, in the unit of their ratios."""
    judged = [i for i, moments in enumerate(kinds) if moments.n >= MINIMUM_JOBS and moments.sum_x > 0]
    rejected = holm([_p_value(kinds[i], target) for i in judged], FAMILY_ERROR)
    answers = [Verdict.NOT_ENOUGH] * len(kinds)
    for i, far_from_target in zip(judged, rejected, strict=True):
        if far_from_target:
            answers[i] = Verdict.BELOW if _is_short(kinds[i], target) else Verdict.ABOVE
    return answers


def _p_value(kind: Moments, target: float) -> float:
    return two_sided_p(kind, target) * (1 if _is_short(kind, target) else ABOVE_FACTOR)


def _is_short(kind: Moments, target: float) -> bool:
    return kind.sum_y < target * kind.sum_x


def holm(p_values: Sequence[float], family_error: float) -> list[bool]:
    """Which of the tests Holm's step-down procedure rejects at ``family_error``."""
    rejected = [False] * len(p_values)
    for rank, i in enumerate(sorted(range(len(p_values)), key=lambda i: p_values[i])):
        if p_values[i] > family_error / (len(p_values) - rank):
            break
        rejected[i] = True
    return rejected
