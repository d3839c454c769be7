"""What every change of an estimate needs: the guard of its version, its reason."""

from typing import Any

from django.db.models import F

from pricing.estimates.errors import EstimateStale, ReasonMissing
from pricing.estimates.models import Estimate


def version_require(estimate: Estimate, expected_version: int | None) -> None:
    """Raises EstimateStale unless `expected_version` is None or the estimate's."""
    if expected_version not in (None, estimate.version):
        raise EstimateStale(estimate.version)


def version_advance(estimate: Estimate, **changes: Any) -> None:
    """Write `changes` and the next version if nobody else wrote since it was read. Raises EstimateStale."""
    row = Estimate.objects.filter(pk=estimate.pk, version=estimate.version, state=estimate.state)
    if not row.update(**changes, version=F("version") + 1):
        raise EstimateStale(estimate.version)
    for name, value in changes.items():
        setattr(estimate, name, value)
    estimate.version += 1


def reason_require(reason: str) -> str:
    """The reason without blanks around it. Raises ReasonMissing for none."""
    if not reason.strip():
        raise ReasonMissing
    return reason.strip()[:300]
