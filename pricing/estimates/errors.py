from django.utils.translation import gettext as _

from shared.errors import Conflict, Refused, Stale


class EstimateClosed(Conflict):
    """It was answered or taken back, its time is over, or a newer version took its place."""

    code = "estimate_closed"


class EstimateStale(Stale):
    """Somebody else changed the estimate since it was read."""

    code = "estimate_changed_meanwhile"

    def __init__(self, version: int) -> None:
        super().__init__(_("Somebody else changed this estimate meanwhile. Look at it again."), version=version)


class BelowLeast(Refused):
    """A price below what the hours ask at the reserve: for the owner to decide."""

    code = "below_least_price"


class ReasonMissing(Refused):
    """A figure is changed, or an estimate taken back, without saying why."""

    code = "reason_missing"

    def __init__(self) -> None:
        super().__init__(_("Say why, in a few words."))
