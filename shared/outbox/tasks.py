"""What the clock starts, and what happens right after messages were written."""

from shared import clock
from shared.background.registry import background_task
from shared.outbox.services import messages_dispatch


@background_task("outbox.dispatch")
def dispatch() -> None:
    messages_dispatch(now=clock.now(), clock=clock.now)
