"""What the clock starts: telling customers when the crew comes."""

from routing.dispatch.services import customers_tell
from shared import clock
from shared.background.registry import background_task


@background_task("dispatch.tell_customers")
def tell_customers() -> None:
    customers_tell(now=clock.now())
