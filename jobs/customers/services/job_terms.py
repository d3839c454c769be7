"""Price, materials and minutes of an imported line: as the row says, else by the rate card, else a question."""

from dataclasses import dataclass

from jobs.customers.domain.faults import N_, Fault
from jobs.customers.domain.job_rows import JobRow
from pricing.catalogue.domain import RateTerms
from pricing.estimates.domain import LineEstimate, line_estimate

NEEDS_TERMS = frozenset(("estimated", "agreed"))


@dataclass(frozen=True, slots=True)
class LineTerms:
    """What is stored on the line. `from_card` says that the rate card filled in something."""

    quantity: int
    price_cents: int
    materials_cents: int
    estimated_minutes: int
    card_price_cents: int | None
    from_card: bool


def line_terms(row: JobRow, *, unit: str, rate: RateTerms | None, storeys: int) -> LineTerms | Fault:
    """The terms of a new line, or a question about what is missing.

    The history is never filled in from today's rate card: what is not known of work that was done stays zero and
    does not count for earnings. Leads may still be without a price.
    """
    quantity = row.quantity or (1 if unit == "each" else None)
    card = line_estimate(rate, quantity, storeys) if rate is not None and quantity else None
    usable = card if row.state != "done" else None
    if row.callback_of:
        usable = None
    price = 0 if row.callback_of else _first(row.price_cents, usable.price_cents if usable else None)
    minutes = _first(row.minutes, usable.minutes if usable else None)
    if row.state in NEEDS_TERMS and (price is None or minutes is None):
        return _question("price" if price is None else "minutes")
    return LineTerms(
        quantity=quantity or 1,
        price_cents=price or 0,
        materials_cents=_first(row.materials_cents, usable.materials_cents if usable else None) or 0,
        estimated_minutes=minutes or 0,
        card_price_cents=usable.price_cents if usable else None,
        from_card=_filled_in(row, usable),
    )


def _first(given: int | None, else_this: int | None) -> int | None:
    return given if given is not None else else_this


def _filled_in(row: JobRow, card: LineEstimate | None) -> bool:
    return card is not None and None in (row.price_cents, row.minutes)


def _question(name: str) -> Fault:
    if name == "price":
        problem = N_("The price is missing, and the rate card cannot tell it without a quantity.")
        return Fault(name, "", problem, N_("What does it cost? Write the price, or the quantity."))
    problem = N_("The minutes on site are missing, and the rate card cannot tell them without a quantity.")
    return Fault(name, "", problem, N_("How long will it take? Write the minutes, or the quantity."))
