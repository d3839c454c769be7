"""An estimate reckoned from what is known: reads the rate card and the target, writes nothing."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from django.utils.translation import gettext as _

from pricing.catalogue.choices import Unit
from pricing.catalogue.domain import Circumstances, HourlyTargetTerms, RateTerms
from pricing.catalogue.selectors import rate_card_on, target_on
from pricing.estimates.card_words import card_words
from pricing.estimates.domain.card import CardPrice, card_price, line_materials_cents
from pricing.estimates.domain.money import LineCosts, LinePrice, Totals, line_prices, totals_of
from pricing.estimates.domain.options import additions, cumulative_options
from pricing.estimates.domain.outlook import Outlook, outlook_of
from pricing.estimates.expected import ExpectedMinutes, circumstances_of, line_expected
from pricing.estimates.inputs import DriveFacts, PlaceFacts, WallFacts, WantedLine
from pricing.minutes.selectors import Forecaster, forecaster_on
from shared.errors import Refused

WALL_KIND_FACE = "face"


@dataclass(frozen=True, slots=True)
class LineReckoned:
    """One line with its hours, what the card asks and the prices that its hours ask."""

    wanted: WantedLine
    quantity: int
    is_addition: bool
    expected: ExpectedMinutes
    card_price_cents: int
    materials_cents: int
    card_why: tuple[str, ...]
    price: LinePrice


@dataclass(frozen=True, slots=True)
class OptionReckoned:
    """One option: positions of its lines, its totals and what it is worth to the company."""

    lines: tuple[int, ...]
    totals: Totals
    outlook: Outlook


@dataclass(frozen=True, slots=True)
class Calculation:
    on: date
    place: PlaceFacts
    drive: DriveFacts
    target: HourlyTargetTerms
    tax_millionths: int | None
    lines: tuple[LineReckoned, ...]
    options: tuple[OptionReckoned, ...]
    card_from: date | None

    def as_json(self) -> dict[str, Any]:
        return {
            "on": self.on.isoformat(),
            "property": self.place.property_ref,
            "access": str(self.place.access),
            "soil": str(self.place.soil),
            "card_from": self.card_from and self.card_from.isoformat(),
            "target_cents_per_crew_hour": self.target.target_cents_per_crew_hour,
            "reserve_cents_per_crew_hour": self.target.reserve_cents_per_crew_hour,
            "drive_minutes": self.drive.minutes,
            "drive_basis": str(self.drive.basis),
            "tax_millionths": self.tax_millionths,
            "lines": [_line_json(line) for line in self.lines],
            "options": [_option_json(option) for option in self.options],
        }


def estimate_reckon(
    *,
    place: PlaceFacts,
    drive: DriveFacts,
    wanted: Sequence[WantedLine],
    on: date,
    tax_millionths: int | None = None,
    options: Sequence[Sequence[int]] | None = None,
    rates: Mapping[str, RateTerms] | None = None,
) -> Calculation:
    """Minutes, prices and options for what is wanted at a place, by the card and target in force on a day.

    The minutes are those learnt from jobs done before that day; the card's own where nothing was learnt. `rates` are
    those of another card, such as a draft, to see what it would ask.

    `options` hold positions of lines; None: what is not offered separately, and then each separate line added in turn.
    Raises Refused for nothing wanted, a service that is not on the card, a quantity that nobody knows and options that
    cannot be; NoTargetYet.
    """
    if not wanted:
        raise Refused(_("Say which services."))
    target, forecaster = target_on(on=on), forecaster_on(on=on, done_before=on)
    if rates is not None:
        forecaster = replace(forecaster, rates=rates)
    card = rate_card_on(on=on) if rates is None else None
    chosen = _options(wanted, options)
    added = _additions(wanted, chosen)
    drafts = [
        _line(line, place, drive.minutes, forecaster, is_addition)
        for line, is_addition in zip(wanted, added, strict=True)
    ]
    costs = [
        LineCosts(draft["expected"].minutes, draft["materials_cents"], draft["card_price_cents"]) for draft in drafts
    ]
    prices = line_prices(
        costs,
        chosen,
        drive_minutes=drive.minutes,
        target_cents=target.target_cents_per_crew_hour,
        reserve_cents=target.reserve_cents_per_crew_hour,
    )
    lines = tuple(LineReckoned(price=price, **draft) for draft, price in zip(drafts, prices, strict=True))
    reckoned = tuple(_option(option, lines, drive, target, tax_millionths) for option in chosen)
    return Calculation(on, place, drive, target, tax_millionths, lines, reckoned, card.effective_from if card else None)


def _options(wanted: Sequence[WantedLine], options: Sequence[Sequence[int]] | None) -> list[list[int]]:
    if options is None:
        return cumulative_options([line.separately for line in wanted])
    chosen = [sorted(set(option)) for option in options]
    if not chosen or any(not option or not set(option) <= set(range(len(wanted))) for option in chosen):
        raise Refused(_("Each option needs at least one of the lines."))
    return chosen


def _additions(wanted: Sequence[WantedLine], options: Sequence[Sequence[int]]) -> list[bool]:
    return additions([line.service.code for line in wanted], options)


@dataclass(frozen=True, slots=True)
class CardAsk:
    """What a card asks for a line, and for what."""

    rate: RateTerms
    quantity: int
    circumstances: Circumstances
    price: CardPrice


def card_ask(
    wanted: WantedLine,
    place: PlaceFacts,
    rates: Mapping[str, RateTerms],
    *,
    drive_minutes: int,
    is_addition: bool = False,
) -> CardAsk:
    """What a card asks for work at a place: its least charge and the surcharges that the place meets are in it.

    Raises Refused for a service that is not on the card and a quantity that nobody knows.
    """
    rate = rates.get(wanted.service.code)
    if rate is None:
        words = _("%(service)s is not on the rate card in force.")
        raise Refused(words % {"service": wanted.service.name}, service=wanted.service.code)
    quantity = quantity_of(wanted, place)
    job = Circumstances(storeys=place.storeys, access=place.access, soil=place.soil, drive_minutes=drive_minutes)
    circumstances = circumstances_of(rate, job, wanted.walls or _faces(place))
    return CardAsk(rate, quantity, circumstances, card_price(rate, quantity, circumstances, is_addition=is_addition))


def _line(
    wanted: WantedLine, place: PlaceFacts, drive_minutes: int, forecaster: Forecaster, is_addition: bool
) -> dict[str, Any]:
    ask = card_ask(wanted, place, forecaster.rates, drive_minutes=drive_minutes, is_addition=is_addition)
    rate, quantity, circumstances, asked = ask.rate, ask.quantity, ask.circumstances, ask.price
    materials_cents = line_materials_cents(rate, quantity)
    return {
        "wanted": wanted,
        "quantity": quantity,
        "is_addition": is_addition,
        "expected": line_expected(rate, quantity, circumstances, is_addition=is_addition, model=forecaster.model),
        "card_price_cents": asked.total_cents,
        "materials_cents": materials_cents,
        "card_why": card_words(rate, quantity, asked, materials_cents),
    }


def quantity_of(wanted: WantedLine, place: PlaceFacts) -> int:
    """What was said; for work on walls otherwise the area of the line's walls, or of every face of the house.

    Raises Refused where an area is not known.
    """
    if wanted.quantity:
        return wanted.quantity
    if wanted.service.unit == Unit.WALL_SQFT:
        areas = [wall.area_sqft for wall in wanted.walls or _faces(place)]
        if areas and all(areas):
            return sum(area or 0 for area in areas)
    words = _("Say how much: the quantity for %(service)s is not known.")
    raise Refused(words % {"service": wanted.service.name}, service=wanted.service.code)


def _faces(place: PlaceFacts) -> tuple[WallFacts, ...]:
    return tuple(wall for wall in place.walls if wall.kind == WALL_KIND_FACE)


def _option(
    option: Sequence[int],
    lines: Sequence[LineReckoned],
    drive: DriveFacts,
    target: HourlyTargetTerms,
    tax_millionths: int | None,
) -> OptionReckoned:
    mine = [lines[k] for k in option]
    totals = totals_of([line.price.price_cents for line in mine], 0, tax_millionths)
    outlook = outlook_of(
        [line.expected.spread for line in mine],
        [line.expected.minutes for line in mine],
        drive_minutes=drive.minutes,
        materials_cents=sum(line.materials_cents for line in mine),
        price_cents=totals.before_tax_cents,
        target_cents=target.target_cents_per_crew_hour,
        reserve_cents=target.reserve_cents_per_crew_hour,
    )
    return OptionReckoned(tuple(option), totals, outlook)


def _line_json(line: LineReckoned) -> dict[str, Any]:
    expected = line.expected
    return {
        "service": line.wanted.service.code,
        "quantity": line.quantity,
        "walls": [wall.wall_ref for wall in line.wanted.walls],
        "is_addition": line.is_addition,
        "minutes": expected.minutes,
        "q80_minutes": expected.q80_minutes,
        "q90_minutes": expected.q90_minutes,
        "minutes_why": list(expected.why),
        "card_minutes": expected.card_minutes,
        "card_price_cents": line.card_price_cents,
        "card_why": list(line.card_why),
        "materials_cents": line.materials_cents,
        "target_price_cents": line.price.target_price_cents,
        "least_price_cents": line.price.least_price_cents,
        "price_cents": line.price.price_cents,
        "price_why": str(line.price.why),
    }


def _option_json(option: OptionReckoned) -> dict[str, Any]:
    return {"lines": list(option.lines), **totals_json(option.totals), **outlook_json(option.outlook)}


def totals_json(totals: Totals) -> dict[str, int]:
    return {
        "discount_cents": totals.discount_cents,
        "before_tax_cents": totals.before_tax_cents,
        "tax_cents": totals.tax_cents,
        "total_cents": totals.total_cents,
    }


def outlook_json(outlook: Outlook) -> dict[str, Any]:
    return {
        "minutes": outlook.minutes,
        "q80_minutes": outlook.q80_minutes,
        "q90_minutes": outlook.q90_minutes,
        "drive_minutes": outlook.drive_minutes,
        "materials_cents": outlook.materials_cents,
        "target_price_cents": outlook.target_price_cents,
        "least_price_cents": outlook.least_price_cents,
        "earned_cents_per_crew_hour": outlook.earned_cents_per_crew_hour,
        "chance": round(outlook.chance, 3),
    }
