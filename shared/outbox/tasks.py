"""What the clock starts, and what happens right after messages were written."""

from time import sleep

from shared import clock
from shared.background.registry import background_task
from shared.outbox.domain.limits import WORTH_THE_WAIT
from shared.outbox.services import dispatch_soon, messages_dispatch

# A slow mail server must not keep other background work waiting: what is left goes to the end of the line.
SECONDS_AT_A_TIME = 20


@background_task("outbox.dispatch")
def dispatch() -> None:
    result = messages_dispatch(now=clock.now(), seconds=SECONDS_AT_A_TIME, clock=clock.now, wait=sleep)
    wait = result.room_at - clock.now() if result.room_at else None
    if wait is not None and wait <= WORTH_THE_WAIT:
        sleep(max(wait.total_seconds(), 0.0))
        dispatch_soon()
    elif result.more:
        dispatch_soon()
