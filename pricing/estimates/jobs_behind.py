"""What estimates ask of the jobs behind them. This room knows no jobs: the room that does registers itself when Django
starts, and is called in the transaction of whoever asks, so that a refusal there changes nothing here."""

from collections.abc import Sequence
from typing import Any, Protocol

from pricing.estimates.inputs import AgreedLine, Recipient


class JobsBehind(Protocol):
    """`job_ref` is the number of a job. All raise WalldayError where the job does not allow it."""

    def estimated(self, *, job_ref: int, lines: Sequence[AgreedLine], discount_cents: int, actor: Any) -> None:
        """An estimate was given out; its first option stands on the job until there is an answer."""

    def agreed(
        self, *, job_ref: int, lines: Sequence[AgreedLine], discount_cents: int, estimate_id: int, actor: Any
    ) -> None:
        """The customer accepted these lines at these prices."""

    def declined(self, *, job_ref: int, reason: str, actor: Any) -> None:
        """The customer said no; `reason` may be empty."""

    def recipient(self, *, job_ref: int, channel: str, is_nudge: bool = False) -> Recipient:
        """Where a message about the job may go by `channel`. Raises Refused where there is no address or the customer
        does not want it; a nudge also counts as a reminder."""


_registered: list[JobsBehind] = []


def jobs_register(jobs: JobsBehind) -> None:
    _registered[:] = [jobs]


def jobs_behind() -> JobsBehind:
    """The room that keeps jobs. Raises IndexError where none registered itself, which is a fault of the set-up."""
    return _registered[0]
