"""What a draft of the next rate card would change, for leads and for estimates that were not sent."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from pricing.catalogue.domain import RateTerms
from pricing.estimates.calculation import Calculation
from pricing.estimates.inputs import DriveFacts, PlaceFacts, WantedLine
from shared.errors import WalldayError


@dataclass(frozen=True, slots=True)
class AskedWork:
    """Work that waits for a price: a lead by its job, or an estimate that was not sent (then `estimate` is set)."""

    job: int
    estimate: int | None
    place: PlaceFacts
    drive: DriveFacts
    wanted: Sequence[WantedLine]


@dataclass(frozen=True, slots=True)
class CardFigures:
    """What the whole of it takes and costs by one card; the last per crew-hour, driving counted."""

    minutes: int
    card_minutes: int
    price_cents: int
    earned_cents_per_crew_hour: int | None


@dataclass(frozen=True, slots=True)
class PreviewRow:
    """Figures by the card in force and by the draft; `problem` says why there are none."""

    work: AskedWork
    before: CardFigures | None
    after: CardFigures | None
    problem: str = ""

    @property
    def changes(self) -> bool:
        return self.before != self.after

    def as_json(self) -> dict[str, Any]:
        return {
            "job": self.work.job,
            "estimate": self.work.estimate,
            "place": self.work.place.address,
            "before": _json(self.before),
            "after": _json(self.after),
            "changes": self.changes,
            "problem": self.problem,
        }


Reckon = Callable[[AskedWork, Mapping[str, RateTerms]], Calculation]


def preview_rows(
    asked: Sequence[AskedWork], *, now: Mapping[str, RateTerms], then: Mapping[str, RateTerms], reckon: Reckon
) -> list[PreviewRow]:
    """Each work by both cards, what changes most in price first. Nothing is stored."""
    rows = [_row(work, now, then, reckon) for work in asked]
    return sorted(rows, key=_moved, reverse=True)


def _moved(row: PreviewRow) -> int:
    if row.before is None or row.after is None:
        return 0
    return abs(row.after.price_cents - row.before.price_cents)


def _row(work: AskedWork, now: Mapping[str, RateTerms], then: Mapping[str, RateTerms], reckon: Reckon) -> PreviewRow:
    before, problem = _figures(work, now, reckon)
    after, later_problem = _figures(work, then, reckon)
    return PreviewRow(work, before, after, later_problem or problem)


def _figures(work: AskedWork, rates: Mapping[str, RateTerms], reckon: Reckon) -> tuple[CardFigures | None, str]:
    try:
        found = reckon(work, rates)
    except WalldayError as error:
        return None, error.message
    whole = found.options[-1]
    return CardFigures(
        minutes=whole.outlook.minutes,
        card_minutes=sum(found.lines[k].expected.card_minutes for k in whole.lines),
        price_cents=whole.totals.before_tax_cents,
        earned_cents_per_crew_hour=whole.outlook.earned_cents_per_crew_hour,
    ), ""


def _json(figures: CardFigures | None) -> dict[str, Any] | None:
    if figures is None:
        return None
    return {
        "minutes": figures.minutes,
        "card_minutes": figures.card_minutes,
        "price_cents": figures.price_cents,
        "earned_cents_per_crew_hour": figures.earned_cents_per_crew_hour,
    }
