"""Making an estimate from a calculation, and changing its figures with the reason kept."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from pricing.estimates.calculation import Calculation, LineReckoned
from pricing.estimates.choices import OPEN, DriveBasis, EstimateState, PriceWhy
from pricing.estimates.domain.money import LineCosts, line_prices, totals_of
from pricing.estimates.errors import BelowLeast, EstimateClosed
from pricing.estimates.inputs import EstimateChange, LineChange, OptionChange
from pricing.estimates.models import Estimate, EstimateLine, EstimateOption
from pricing.estimates.selectors import estimate_get, option_views
from pricing.estimates.services.steps import reason_require, version_advance, version_require
from shared.errors import Conflict, Refused
from shared.events.services import event_record
from shared.units import round_half_up

GOOD_FOR = timedelta(days=30)  # our choice, no source


@transaction.atomic
def estimate_create(
    *, calculation: Calculation, job_ref: int, now: datetime, valid_until: date | None = None, note: str = "",
    actor: Any = None,
) -> Estimate:  # fmt: skip
    """Store a calculation as an estimate for a job, not sent yet.

    An open estimate of the same job that was not sent is replaced by it; raises Conflict where one was sent and waits
    for its answer, Refused for a last day before the first.
    """
    _make_room(job_ref, actor)
    last = valid_until or calculation.on + GOOD_FOR
    _require_day(last, calculation.on)
    place, drive = calculation.place, calculation.drive
    estimate = Estimate(
        job_ref=job_ref,
        property_ref=place.property_ref,
        customer_name=place.customer_name,
        place=place.address,
        language=place.language,
        storeys=place.storeys,
        year_built=place.year_built,
        card_from=calculation.card_from,
        made_at=now,
        made_by=actor,
        valid_until=last,
        target_cents_per_crew_hour=calculation.target.target_cents_per_crew_hour,
        reserve_cents_per_crew_hour=calculation.target.reserve_cents_per_crew_hour,
        drive_minutes=drive.minutes,
        drive_metres=drive.metres,
        drive_basis=drive.basis,
        drive_days=drive.days,
        drive_source=drive.source,
        tax_millionths=calculation.tax_millionths,
        note=note.strip(),
    )
    estimate.full_clean(exclude=["made_by"])
    try:
        with transaction.atomic():
            estimate.save()
    except IntegrityError as error:  # somebody else made one just now
        raise _waits() from error
    lines = [_line_store(estimate, number, line) for number, line in enumerate(calculation.lines, start=1)]
    for number, option in enumerate(calculation.options, start=1):
        row = EstimateOption.objects.create(estimate=estimate, position=number)
        row.lines.set([lines[k] for k in option.lines])
    event_record(kind="estimate.made", subject=estimate, actor=actor, data={"job": job_ref})
    return estimate


def _make_room(job_ref: int, actor: Any) -> None:
    for old in Estimate.objects.filter(job_ref=job_ref, state__in=OPEN):
        if old.state == EstimateState.SENT:
            raise _waits()
        version_advance(old, state=EstimateState.TAKEN_BACK)
        event_record(kind="estimate.replaced", subject=old, actor=actor)


def _waits() -> Conflict:
    return Conflict(_("An estimate for this job waits for its answer. Change that one, or take it back first."))


def _require_day(last: date, first: date) -> None:
    if last < first:
        raise Refused(_("The last day must not lie in the past."), valid_until=last.isoformat())


def _line_store(estimate: Estimate, position: int, line: LineReckoned) -> EstimateLine:
    expected = line.expected
    row = EstimateLine(
        estimate=estimate,
        position=position,
        service=line.wanted.service,
        quantity=line.quantity,
        is_addition=line.is_addition,
        wall_refs=[wall.wall_ref for wall in line.wanted.walls],
        wall_names=[wall.name for wall in line.wanted.walls],
        minutes=expected.minutes,
        median_minutes=expected.median_minutes,
        q80_minutes=expected.q80_minutes,
        q90_minutes=expected.q90_minutes,
        minutes_why=list(expected.why),
        card_minutes=expected.card_minutes,
        card_price_cents=line.card_price_cents,
        card_why=list(line.card_why),
        materials_cents=line.materials_cents,
        target_price_cents=line.price.target_price_cents,
        least_price_cents=line.price.least_price_cents,
        price_cents=line.price.price_cents,
        price_why=line.price.why.value,
    )
    row.full_clean(exclude=["estimate", "service"])
    row.save()
    return row


@dataclass(frozen=True, slots=True)
class _Difference:
    """One figure before and after, for the history."""

    what: str
    before: Any
    after: Any

    def as_data(self) -> list[Any]:
        return [self.what, self.before, self.after]


@transaction.atomic
def estimate_change(
    *,
    estimate: Estimate,
    change: EstimateChange,
    reason: str,
    today: date,
    actor: Any = None,
    expected_version: int | None = None,
) -> Estimate:
    """Set other figures; each is kept in the history before and after, with the reason.

    One that was sent is a draft again: its link is closed until it is sent anew, and what was sent stays as it was.
    Nothing changed is no change. Raises EstimateClosed after an answer, ReasonMissing, Refused for figures that cannot
    be, BelowLeast where the office goes below the least price (the owner may), EstimateStale.
    """
    version_require(estimate, expected_version)
    if estimate.state not in OPEN:
        raise EstimateClosed(_("This estimate is closed; its figures stay as they are."))
    found = [*_lines_change(estimate, change.lines), *_options_change(estimate, change.options)]
    fields, differences = _fields_change(estimate, change, today)
    found += differences
    if not found:
        return estimate
    reason = reason_require(reason)
    version_advance(estimate, **fields, state=EstimateState.DRAFT)
    estimate.full_clean(exclude=["made_by"], validate_constraints=False)
    _bounds_store(estimate)
    _require_options(estimate, actor)
    data = {"changed": [difference.as_data() for difference in found]}
    event_record(kind="estimate.changed", subject=estimate, actor=actor, reason=reason, data=data)
    return estimate


def _lines_change(estimate: Estimate, changes: Any) -> list[_Difference]:
    present = {line.pk: line for line in estimate.lines.all()}
    found: list[_Difference] = []
    for change in changes:
        line = present.get(change.line_id)
        if line is None:
            raise Refused(_("A line that is to be changed is not on this estimate."))
        found += _line_change(line, change)
    return found


def _line_change(line: EstimateLine, change: LineChange) -> list[_Difference]:
    wanted = {
        "minutes": change.minutes,
        "price_cents": change.price_cents,
        "materials_cents": change.materials_cents,
    }
    new = {name: value for name, value in wanted.items() if value is not None and value != getattr(line, name)}
    if not new:
        return []
    if any(value < 0 for value in new.values()) or new.get("minutes", 1) < 1:
        raise Refused(_("Prices cannot be less than nothing, and work takes at least a minute."))
    found = [_Difference(f"line {line.position} {name}", getattr(line, name), value) for name, value in new.items()]
    if "minutes" in new:
        _stretch(line, new["minutes"])
    for name, value in new.items():
        setattr(line, name, value)
    if "price_cents" in new:
        line.price_why = PriceWhy.OFFICE
    line.full_clean(exclude=["estimate", "service"])
    line.save()
    return found


def _stretch(line: EstimateLine, minutes: int) -> None:
    """The quantiles keep their distance from the expected minutes in proportion."""
    for name in ("median_minutes", "q80_minutes", "q90_minutes"):
        setattr(line, name, max(1, round_half_up(getattr(line, name) * minutes / line.minutes)))


def _options_change(estimate: Estimate, changes: Any) -> list[_Difference]:
    present = {option.pk: option for option in estimate.options.all()}
    found: list[_Difference] = []
    for change in changes:
        option = present.get(change.option_id)
        if option is None:
            raise Refused(_("An option that is to be changed is not on this estimate."))
        found += _option_change(option, change)
    return found


def _option_change(option: EstimateOption, change: OptionChange) -> list[_Difference]:
    wanted = {"name": change.name, "discount_cents": change.discount_cents}
    new = {name: value for name, value in wanted.items() if value is not None and value != getattr(option, name)}
    found = [
        _Difference(f"option {option.position} {name}", getattr(option, name), value) for name, value in new.items()
    ]
    for name, value in new.items():
        setattr(option, name, value)
    if new:
        option.full_clean(exclude=["estimate"])
        option.save()
    return found


def _fields_change(estimate: Estimate, change: EstimateChange, today: date) -> tuple[dict[str, Any], list[_Difference]]:
    wanted: dict[str, Any] = {
        "drive_minutes": change.drive_minutes,
        "valid_until": change.valid_until,
        "note": change.note,
    }
    new = {name: value for name, value in wanted.items() if value is not None and value != getattr(estimate, name)}
    if change.sets_tax and change.tax_millionths != estimate.tax_millionths:
        new["tax_millionths"] = change.tax_millionths
    if "valid_until" in new:
        _require_day(new["valid_until"], today)
    found = [_Difference(name, _plain(getattr(estimate, name)), _plain(value)) for name, value in new.items()]
    if "drive_minutes" in new:
        new["drive_basis"] = DriveBasis.OFFICE
    return new, found


def _plain(value: Any) -> Any:
    return value.isoformat() if isinstance(value, date) else value


def _bounds_store(estimate: Estimate) -> None:
    """What the hours ask of each line, after a change; the prices themselves stay."""
    lines = list(EstimateLine.objects.filter(estimate=estimate).order_by("position"))
    at = {line.pk: k for k, line in enumerate(lines)}
    options = EstimateOption.objects.filter(estimate=estimate).prefetch_related("lines")
    priced = line_prices(
        [LineCosts(line.minutes, line.materials_cents, line.card_price_cents) for line in lines],
        [[at[line.pk] for line in option.lines.all()] for option in options],
        drive_minutes=estimate.drive_minutes,
        target_cents=estimate.target_cents_per_crew_hour,
        reserve_cents=estimate.reserve_cents_per_crew_hour,
    )
    for line, price in zip(lines, priced, strict=True):
        line.target_price_cents, line.least_price_cents = price.target_price_cents, price.least_price_cents
    EstimateLine.objects.bulk_update(lines, ["target_price_cents", "least_price_cents"])


def _require_options(estimate: Estimate, actor: Any) -> None:
    """Each option's discount lies within its price; below the least price only the owner goes."""
    for option in EstimateOption.objects.filter(estimate=estimate).prefetch_related("lines"):
        prices = [line.price_cents for line in option.lines.all()]
        try:
            totals_of(prices, option.discount_cents, estimate.tax_millionths)
        except ValueError as error:
            words = _("The discount must be from nothing to the whole price.")
            raise Refused(words, discount_cents=option.discount_cents) from error
    fresh = estimate_get(pk=estimate.pk)
    below = [view for view in option_views(fresh) if view.outlook.is_below_least]
    if below and actor is not None and not actor.is_owner:
        words = _("Option %(number)s would bring less than its hours ask at the reserve. The owner may decide that.")
        raise BelowLeast(words % {"number": below[0].option.position})
