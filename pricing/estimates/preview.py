"""What a draft of the next rate card would change: for leads and open estimates, and for the work of the last year."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from pricing.catalogue.domain import Circumstances, RateTerms
from pricing.estimates.calculation import Calculation
from pricing.estimates.domain.card import card_price
from pricing.estimates.inputs import DriveFacts, PlaceFacts, WantedLine
from shared.errors import WalldayError


@dataclass(frozen=True, slots=True)
class AskedWork:
    """Work that waits: a lead by its job, or an open estimate (then `estimate` is set)."""

    job: int
    estimate: int | None
    place: PlaceFacts
    drive: DriveFacts
    wanted: Sequence[WantedLine]
    is_sent: bool = False


@dataclass(frozen=True, slots=True)
class CardFigures:
    """What the whole of it takes and costs by one card; `card_price_cents` is what the card alone asks, `price_cents`
    what would be asked, since its hours may ask more; the last per crew-hour, driving counted."""

    minutes: int
    card_minutes: int
    card_price_cents: int
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

    @property
    def price_change_cents(self) -> int:
        """What would be asked more; negative: less; 0 where there is nothing to compare."""
        return self.after.price_cents - self.before.price_cents if self.before and self.after else 0

    @property
    def card_change_cents(self) -> int:
        """What the card alone would ask more."""
        return self.after.card_price_cents - self.before.card_price_cents if self.before and self.after else 0

    def as_json(self) -> dict[str, Any]:
        return {
            "job": self.work.job,
            "estimate": self.work.estimate,
            "place": self.work.place.address,
            "before": _json(self.before),
            "after": _json(self.after),
            "is_sent": self.work.is_sent,
            "changes": self.changes,
            "problem": self.problem,
        }


Reckon = Callable[[AskedWork, Mapping[str, RateTerms]], Calculation]


def preview_rows(
    asked: Sequence[AskedWork], *, now: Mapping[str, RateTerms], then: Mapping[str, RateTerms], reckon: Reckon
) -> list[PreviewRow]:
    """Each work by both cards, what changes most in price first. Nothing is stored."""
    rows = [_row(work, now, then, reckon) for work in asked]
    return sorted(rows, key=lambda row: (-abs(row.price_change_cents), -abs(row.card_change_cents)))


@dataclass(frozen=True, slots=True)
class PastLine:
    """A job's line as it was done, for what a card would have asked for it."""

    service_code: str
    job: int
    quantity: int
    circumstances: Circumstances


@dataclass(frozen=True, slots=True)
class PastSums:
    """What two cards ask for the same work of one service, at the card alone; None where a card does not have it."""

    service_code: str
    jobs: int
    before_cents: int | None
    after_cents: int | None

    @property
    def change_cents(self) -> int:
        known = self.before_cents is not None and self.after_cents is not None
        return (self.after_cents or 0) - (self.before_cents or 0) if known else 0

    @property
    def change_percent(self) -> float | None:
        """Of what the card in force asks; None where that is nothing."""
        return 100 * self.change_cents / self.before_cents if self.before_cents else None

    def as_json(self) -> dict[str, Any]:
        return {
            "service": self.service_code,
            "jobs": self.jobs,
            "before_cents": self.before_cents,
            "after_cents": self.after_cents,
        }


def past_sums(
    lines: Iterable[PastLine], *, now: Mapping[str, RateTerms], then: Mapping[str, RateTerms]
) -> list[PastSums]:
    """The same work by both cards, by service; what changes most in money first."""
    by_service: dict[str, list[PastLine]] = {}
    for line in lines:
        by_service.setdefault(line.service_code, []).append(line)
    sums = [
        PastSums(code, len({line.job for line in mine}), _asked(mine, now.get(code)), _asked(mine, then.get(code)))
        for code, mine in by_service.items()
    ]
    return sorted(sums, key=lambda each: (-abs(each.change_cents), each.service_code))


def _asked(lines: Sequence[PastLine], rate: RateTerms | None) -> int | None:
    if rate is None:
        return None
    return sum(card_price(rate, line.quantity, line.circumstances).total_cents for line in lines)


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
        card_price_cents=sum(found.lines[k].card_price_cents for k in whole.lines),
        price_cents=whole.totals.before_tax_cents,
        earned_cents_per_crew_hour=whole.outlook.earned_cents_per_crew_hour,
    ), ""


def _json(figures: CardFigures | None) -> dict[str, Any] | None:
    if figures is None:
        return None
    return {
        "minutes": figures.minutes,
        "card_minutes": figures.card_minutes,
        "card_price_cents": figures.card_price_cents,
        "price_cents": figures.price_cents,
        "earned_cents_per_crew_hour": figures.earned_cents_per_crew_hour,
    }
