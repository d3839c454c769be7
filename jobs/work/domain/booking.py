"""How a visit's minutes, driving, wages and money are shared out over its lines.

Every total is split into whole parts that add up to it exactly (largest remainder).
"""

from collections.abc import Sequence
from dataclasses import dataclass

from pricing.estimates.domain import prices_after_discount
from shared.units import share_out


@dataclass(frozen=True, slots=True)
class LineBooked:
    """What the crew said about one line; None where it said nothing."""

    line_id: int
    minutes: int | None = None
    materials_cents: int | None = None


@dataclass(frozen=True, slots=True)
class LineAgreed:
    """What was agreed for one line, before the job's discount."""

    line_id: int
    price_cents: int
    materials_cents: int
    estimated_minutes: int


@dataclass(frozen=True, slots=True)
class VisitTotals:
    """What a whole visit took. Wages with burden; driving is the stop's share of its route."""

    on_site_minutes: int
    setup_minutes: int = 0
    drive_minutes: int = 0
    drive_metres: int = 0
    wage_cents: int = 0
    vehicle_cents: int = 0


@dataclass(frozen=True, slots=True)
class LineShare:
    """One line's part of a visit, ready for the ledger."""

    line_id: int
    price_cents: int
    materials_cents: int
    on_site_minutes: int
    setup_minutes: int
    drive_minutes: int
    drive_metres: int
    wage_cents: int
    vehicle_cents: int


def split_visit(
    totals: VisitTotals, agreed: Sequence[LineAgreed], booked: Sequence[LineBooked] = (), discount_cents: int = 0
) -> list[LineShare]:
    """Share a visit out over its lines, in the order of `agreed`.

    Minutes go by the minutes booked for each line, where none were booked by the estimate; driving, set-up, wages
    and the truck follow the minutes on site. The discount is taken off in proportion to the prices.
    """
    said = {line.line_id: line for line in booked}
    minutes = split_minutes(
        totals.on_site_minutes,
        [said[line.line_id].minutes if line.line_id in said else None for line in agreed],
        [line.estimated_minutes for line in agreed],
    )
    columns = zip(
        agreed,
        prices_after_discount([line.price_cents for line in agreed], discount_cents),
        [_materials(line, said.get(line.line_id)) for line in agreed],
        minutes,
        share_out(totals.setup_minutes, minutes),
        share_out(totals.drive_minutes, minutes),
        share_out(totals.drive_metres, minutes),
        share_out(totals.wage_cents, minutes),
        share_out(totals.vehicle_cents, minutes),
        strict=True,
    )
    return [LineShare(line.line_id, *parts) for line, *parts in columns]


def split_minutes(total: int, booked: Sequence[int | None], estimated: Sequence[int]) -> list[int]:
    """Split the minutes on site over the lines.

    All lines booked: in proportion to what was booked. None: in proportion to the estimates. Some: those keep what
    was booked, as long as it fits, and the others share the rest by their estimates.
    """
    open_lines = [i for i, minutes in enumerate(booked) if minutes is None]
    rest = total - sum(minutes or 0 for minutes in booked)
    if open_lines and rest >= 0:
        parts = iter(share_out(rest, [estimated[i] for i in open_lines]))
        return [next(parts) if minutes is None else minutes for minutes in booked]
    weights = [estimated[i] if minutes is None else minutes for i, minutes in enumerate(booked)]
    return share_out(total, weights)


def _materials(agreed: LineAgreed, booked: LineBooked | None) -> int:
    if booked is None or booked.materials_cents is None:
        return agreed.materials_cents
    return booked.materials_cents
