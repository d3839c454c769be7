"""What the clock starts, and what happens right after messages were written."""

from datetime import timedelta
from time import sleep

from shared import clock
from shared.background.registry import background_task
from shared.outbox.services import dispatch_soon, messages_dispatch

# A slow mail server must not keep other background work waiting: what is left goes to the end of the line.
SECONDS_AT_A_TIME = 20
# Ticks come a little sooner or later than a minute after the last one. Where the pace lets the next message go so soon,
# it is worth the wait: at the next tick the minute would be lost.
WORTH_THE_WAIT = timedelta(seconds=5)


@background_task("outbox.dispatch")
def dispatch() -> None:
    result = messages_dispatch(now=clock.now(), seconds=SECONDS_AT_A_TIME, clock=clock.now)
    wait = result.room_at - clock.now() if result.room_at else None
    if wait is not None and wait <= WORTH_THE_WAIT:
        sleep(max(wait.total_seconds(), 0.0))
        dispatch_soon()
    elif result.more:
        dispatch_soon()
