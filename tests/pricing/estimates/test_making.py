"""Making estimates and changing their figures: what is stored, what the history keeps, what is refused."""

from datetime import date, timedelta
from typing import Any

import pytest

from jobs.work.models import Job
from pricing.catalogue.models import Rate, RateCard
from pricing.estimates.domain.options import additions, cumulative_options
from pricing.estimates.errors import BelowLeast, EstimateClosed, EstimateStale, ReasonMissing
from pricing.estimates.inputs import EstimateChange, LineChange, OptionChange
from pricing.estimates.models import Estimate
from pricing.estimates.selectors import estimate_get, option_views
from pricing.estimates.services import estimate_change, estimate_take_back
from shared.errors import Conflict, Refused
from shared.events.selectors import event_list
from tests import factories

pytestmark = pytest.mark.django_db
TODAY = factories.MOMENT.date()


def change(estimate: Estimate, reason: str = "steep yard", actor: Any = None, **what: Any) -> Estimate:
    return estimate_change(estimate=estimate, change=EstimateChange(**what), reason=reason, today=TODAY, actor=actor)


@pytest.mark.parametrize(
    ("separately", "options"),
    [([False], [[0]]), ([False, True, True], [[0], [0, 1], [0, 1, 2]]), ([True, False], [[1], [0, 1]]),
     ([True, True], [[0], [0, 1]])],
)  # fmt: skip
def test_options_side_by_side(separately: list[bool], options: list[list[int]]) -> None:
    """What is not separate stands alone first; each separate line joins in turn."""
    assert cumulative_options(separately) == options


def test_additions_need_their_first_line() -> None:
    """The garage door adds to the walls' removal where it never goes without it."""
    assert additions(["wash", "chalk", "chalk"], [[0], [0, 1], [0, 1, 2]]) == [False, False, True]
    assert additions(["chalk", "chalk"], [[0], [1]]) == [False, False]


def test_wash_removal_and_garage_door_by_hand() -> None:
    """2,000 sq ft of two-storey wall: 20 + 100 min. The south wall's 1,000 sq ft of chalk at 120 an hour: 20 + 500
    min, $1,250 by the card against $1,525.35 at the target with its part of the driving; the door adds 60 min."""
    estimate = estimate_get(pk=factories.make_estimate().pk)
    wash, removal, door = estimate.lines.all()
    assert [(line.minutes, line.is_addition) for line in (wash, removal, door)] == [
        (120, False), (520, False), (60, True),
    ]  # fmt: skip
    assert (wash.price_cents, wash.price_why) == (520_00, "card")
    # 520 + 20 x 520/640 minutes at $175 an hour
    assert (removal.card_price_cents, removal.target_price_cents) == (1250_00, 1564_07)
    assert (removal.price_cents, removal.price_why) == (1565_00, "target")
    assert door.card_price_cents == 150_00
    views = option_views(estimate)
    assert [[line.position for line in view.lines] for view in views] == [[1], [1, 2], [1, 2, 3]]
    assert all(view.outlook.reaches_target and not view.outlook.is_below_least for view in views)
    assert [view.outlook.crew_minutes for view in views] == [140, 660, 720]


def test_a_newer_card_touches_nothing() -> None:
    """The same figures after prices, rates and target moved on."""
    estimate = factories.make_estimate(sent=True)

    def figures() -> list[Any]:
        return [
            (view.totals, view.outlook, [line.price_cents for line in view.lines])
            for view in option_views(estimate_get(pk=estimate.pk))
        ]

    before = figures()
    Rate.objects.update(price_cents_per_100_units=1, units_per_crew_hour_high=1)
    RateCard.objects.update(effective_from=date(2026, 5, 1))
    factories.make_target(effective_from=TODAY, target_cents_per_crew_hour=999_00)
    assert figures() == before


def test_every_figure_can_be_changed_and_is_kept_with_the_reason(owner: Any) -> None:
    """Before and after of each, the reason once; prices that were not touched stay; a sent one is a draft again."""
    estimate = factories.make_estimate(sent=True)
    line = estimate.lines.get(position=2)
    option = estimate.options.get(position=2)
    change(
        estimate, actor=owner, lines=[LineChange(line.pk, minutes=600, price_cents=1800_00)],
        options=[OptionChange(option.pk, name="Wash and south wall", discount_cents=50_00)], drive_minutes=40,
        valid_until=TODAY + timedelta(days=9), note="Gate code by phone.", sets_tax=True, tax_millionths=72_500,
    )  # fmt: skip
    fresh = estimate_get(pk=estimate.pk)
    changed = fresh.lines.get(position=2)
    assert (changed.minutes, changed.price_cents, changed.price_why) == (600, 1800_00, "office")
    assert changed.q90_minutes > changed.q80_minutes > changed.minutes > changed.median_minutes
    assert fresh.lines.get(position=1).price_cents == 520_00
    view = option_views(fresh)[1]
    assert (view.totals.before_tax_cents, view.totals.tax_cents) == (2270_00, 164_58)
    assert (fresh.state, fresh.drive_basis, fresh.tax_millionths) == ("draft", "office", 72_500)
    event = event_list(subject=estimate)[0]
    assert (event.kind, event.reason, event.actor) == ("estimate.changed", "steep yard", owner)
    assert ["line 2 price_cents", 1565_00, 1800_00] in event.data["changed"]
    assert ["valid_until", "2026-07-01", "2026-06-10"] in event.data["changed"]


def test_no_change_needs_no_reason_and_leaves_no_trace() -> None:
    estimate = factories.make_estimate()
    events = len(event_list(subject=estimate))
    line = estimate.lines.get(position=1)
    change(estimate, "", lines=[LineChange(line.pk, minutes=line.minutes, price_cents=line.price_cents)])
    assert (estimate.version, len(event_list(subject=estimate))) == (1, events)


@pytest.mark.parametrize(
    ("what", "error"),
    [
        (lambda e: {"lines": [LineChange(e.lines.get(position=1).pk, price_cents=-1)]}, Refused),
        (lambda e: {"lines": [LineChange(e.lines.get(position=1).pk, minutes=0)]}, Refused),
        (lambda e: {"lines": [LineChange(0, minutes=5)]}, Refused),
        (lambda e: {"options": [OptionChange(0, name="x")]}, Refused),
        (lambda e: {"options": [OptionChange(e.options.get(position=1).pk, discount_cents=520_01)]}, Refused),
        (lambda e: {"valid_until": TODAY - timedelta(days=1)}, Refused),
        (lambda e: {"options": [OptionChange(e.options.get(position=1).pk, discount_cents=260_00)]}, BelowLeast),
    ],
)
def test_what_is_refused_changes_nothing(what: Any, error: type[Exception], office: Any) -> None:
    """Below nothing, a foreign line, more discount than price, a past day; and the office below the least price."""
    estimate = factories.make_estimate()
    before = [(line.price_cents, line.minutes) for line in estimate.lines.all()]
    with pytest.raises(error):
        change(estimate, actor=office, **what(estimate))
    fresh = estimate_get(pk=estimate.pk)
    assert [(line.price_cents, line.minutes) for line in fresh.lines.all()] == before
    assert (fresh.version, fresh.options.get(position=1).discount_cents) == (1, 0)


def test_the_owner_may_go_below_the_least_price(owner: Any) -> None:
    """140 crew-minutes at $110 and $24.08 of materials ask $280.75; the owner gives more than that away."""
    estimate = factories.make_estimate()
    option = estimate.options.get(position=1)
    change(estimate, "a neighbour", actor=owner, options=[OptionChange(option.pk, discount_cents=260_00)])
    view = option_views(estimate_get(pk=estimate.pk))[0]
    assert (view.totals.before_tax_cents, view.outlook.least_price_cents) == (260_00, 280_75)
    assert view.outlook.is_below_least


def test_reason_version_and_state_are_guarded() -> None:
    estimate = factories.make_estimate()
    line = LineChange(estimate.lines.get(position=1).pk, price_cents=600_00)
    with pytest.raises(ReasonMissing):
        change(estimate, " ", lines=[line])
    other = Estimate.objects.get(pk=estimate.pk)
    change(other, lines=[line])
    estimate = Estimate.objects.get(pk=estimate.pk)
    estimate.version = 1
    with pytest.raises(EstimateStale):
        change(estimate, drive_minutes=3)
    estimate.refresh_from_db()
    with pytest.raises(EstimateStale):
        estimate_take_back(estimate=estimate, reason="twice", expected_version=1)
    estimate_take_back(estimate=estimate, reason="twice")
    with pytest.raises(EstimateClosed):
        change(estimate, drive_minutes=3)


def test_one_open_estimate_for_a_job() -> None:
    """A draft is replaced by the next one; one that was sent is not."""
    place = factories.make_chalky_house()
    first = factories.make_estimate(place=place)
    job = Job.objects.get(pk=first.job_ref)
    second = factories.make_estimate(place=place, job=job)
    first.refresh_from_db()
    assert (first.state, second.state) == ("taken_back", "draft")
    factories.make_sent(second)
    with pytest.raises(Conflict, match="waits for its answer"):
        factories.make_estimate(place=place, job=job)


def test_a_last_day_in_the_past() -> None:
    with pytest.raises(Refused, match="last day"):
        factories.make_estimate(valid_until=TODAY - timedelta(days=1))
    assert not Estimate.objects.exists()
