"""When a message that was certainly not taken is tried again. The waits are ours; no source."""

from datetime import timedelta

WAITS = tuple(timedelta(minutes=minutes) for minutes in (1, 5, 15, 60, 240))
# A message whose last check failed, by a fault of ours, waits so long; no attempt was made.
UNCHECKED_WAITS = timedelta(minutes=15)
# A row that is being sent and has not come back by then is shown as unknown.
UNKNOWN_AFTER = timedelta(minutes=5)


def wait_after(attempts: int) -> timedelta | None:
    """How long to wait after `attempts` failed ones (1 or more); None: give up."""
    return WAITS[attempts - 1] if attempts <= len(WAITS) else None
