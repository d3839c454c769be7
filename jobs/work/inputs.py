"""What a new job is made from, as pages, programs and imports hand it in."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from jobs.customers.models import Wall
from pricing.catalogue.models import Service

LAST_MINUTE = 1439


@dataclass(frozen=True, slots=True)
class NewLine:
    """One service as agreed: quantity in the service's unit, minutes on site of a two-person crew."""

    service: Service
    price_cents: int
    estimated_minutes: int
    quantity: int = 1
    materials_cents: int = 0
    card_price_cents: int | None = None
    walls: Sequence[Wall] = ()
    note: str = ""


@dataclass(frozen=True, slots=True)
class LineTerms:
    """What is agreed anew for a line that is there."""

    line_id: int
    price_cents: int
    estimated_minutes: int


@dataclass(frozen=True, slots=True)
class NewWindow:
    """Days, and local minutes on them, in which the work may begin."""

    first_date: date
    last_date: date
    start_minute: int = 0
    end_minute: int = LAST_MINUTE
    promised: bool = False
