"""Estimates with what is worked out from their stored figures."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from django.db.models import Prefetch, Q, QuerySet
from django.utils.translation import gettext as _

from pricing.estimates.choices import EstimateState
from pricing.estimates.domain.money import Totals, totals_of
from pricing.estimates.domain.outlook import Outlook, outlook_of
from pricing.estimates.domain.spread import MinutesSpread, spread_from_quantiles
from pricing.estimates.models import Estimate, EstimateLine, EstimateOption, SentEstimate
from shared.errors import NotFound

ENDS_SOON_DAYS = 5  # from so many days before its last one an estimate counts as ending soon; our choice


@dataclass(frozen=True, slots=True)
class OptionView:
    """An option with its lines in order, its totals, and what it is worth to the company."""

    option: EstimateOption
    lines: tuple[EstimateLine, ...]
    totals: Totals
    outlook: Outlook


def estimate_list(*, state: str = "", words: str = "", today: date | None = None) -> QuerySet[Estimate]:
    """Estimates, newest first, with what a list shows.

    `state` is one of `EstimateState`, or `ending` or `over` for those that wait for an answer and end soon or have
    ended by `today`; each of `words` must occur in name or place.
    """
    lines = EstimateLine.objects.select_related("service").order_by("position")
    options = EstimateOption.objects.prefetch_related(Prefetch("lines", lines)).order_by("position")
    found = Estimate.objects.select_related("answer").prefetch_related(Prefetch("options", options))
    if state in EstimateState.values:
        found = found.filter(state=state)
    elif state and today:
        found = found.filter(_ending(state, today))
    for word in words.split():
        found = found.filter(Q(customer_name__icontains=word) | Q(place__icontains=word))
    return found.order_by("-id")


def _ending(state: str, today: date) -> Q:
    waiting = Q(state=EstimateState.SENT)
    if state == "over":
        return waiting & Q(valid_until__lt=today)
    last = date.fromordinal(today.toordinal() + ENDS_SOON_DAYS)
    return waiting & Q(valid_until__gte=today, valid_until__lte=last)


def estimate_get(*, pk: int) -> Estimate:
    """One estimate with its options and lines. Raises NotFound."""
    lines = EstimateLine.objects.select_related("service").order_by("position")
    estimate = estimate_list().prefetch_related(Prefetch("lines", lines)).filter(pk=pk).first()
    if estimate is None:
        raise NotFound(_("There is no estimate %(number)s.") % {"number": pk})
    return estimate


def estimates_of_job(*, job_ref: int) -> QuerySet[Estimate]:
    """The estimates for a job, newest first."""
    return estimate_list().filter(job_ref=job_ref)


def sent_get(*, pk: int) -> SentEstimate:
    """A sent estimate with its prints and its answer. Raises NotFound."""
    rows = SentEstimate.objects.select_related("estimate__answer__shown").prefetch_related("prints")
    sent = rows.filter(pk=pk).first()
    if sent is None:
        raise NotFound(_("There is no such estimate."))
    return sent


def line_spread(line: EstimateLine) -> MinutesSpread:
    """The spread of a line's minutes, as it was stored."""
    return spread_from_quantiles(line.minutes, line.median_minutes, line.q90_minutes)


def option_views(estimate: Estimate) -> list[OptionView]:
    """The options in order, worked out from the stored figures; nothing is read from the rate card."""
    return [_view(estimate, option) for option in estimate.options.all()]


def _view(estimate: Estimate, option: EstimateOption) -> OptionView:
    lines = tuple(option.lines.all())
    totals = totals_of([line.price_cents for line in lines], option.discount_cents, estimate.tax_millionths)
    return OptionView(option, lines, totals, _outlook(estimate, lines, totals.before_tax_cents))


def _outlook(estimate: Estimate, lines: Sequence[EstimateLine], price_cents: int) -> Outlook:
    return outlook_of(
        [line_spread(line) for line in lines],
        [line.minutes for line in lines],
        drive_minutes=estimate.drive_minutes,
        materials_cents=sum(line.materials_cents for line in lines),
        price_cents=price_cents,
        target_cents=estimate.target_cents_per_crew_hour,
        reserve_cents=estimate.reserve_cents_per_crew_hour,
    )


def is_over(estimate: Estimate, today: date) -> bool:
    """Whether its last day has passed without an answer."""
    return estimate.state == EstimateState.SENT and estimate.valid_until < today


def ends_soon(estimate: Estimate, today: date) -> bool:
    """Whether it waits for an answer and its last day is near."""
    days = (estimate.valid_until - today).days
    return estimate.state == EstimateState.SENT and 0 <= days <= ENDS_SOON_DAYS


def newest_removal(*, property_ref: int, today: date) -> EstimateOption | None:
    """The option with chalk removal of the property's newest open, still valid estimate, the fullest where several."""
    options = EstimateOption.objects.filter(
        estimate__property_ref=property_ref,
        estimate__state=EstimateState.SENT,
        estimate__valid_until__gte=today,
        lines__service__removes_chalk=True,
    )
    lines = EstimateLine.objects.select_related("service").order_by("position")
    found = options.select_related("estimate").prefetch_related(Prefetch("lines", lines))
    return found.order_by("-estimate_id", "-position").first()
