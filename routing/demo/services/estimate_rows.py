"""Estimates in every state, made and answered by the product itself: waiting, ending soon, ended, changed and not sent
again, not sent yet, accepted and declined."""

from collections.abc import Callable, Iterator
from datetime import date, datetime, timedelta

from jobs.walkthroughs.selectors.places import place_facts
from jobs.work.choices import JobState
from jobs.work.models import Job
from pricing.estimates.calculation import estimate_reckon
from pricing.estimates.choices import SentBy
from pricing.estimates.inputs import EstimateChange, OptionChange, WantedLine
from pricing.estimates.models import Estimate, SentEstimate
from pricing.estimates.selectors import sent_get
from pricing.estimates.services import (
    estimate_accept,
    estimate_change,
    estimate_create,
    estimate_decline,
    estimate_send,
)
from pricing.estimates.views.gathering import SHOWN_FROM, suggested
from routing.demo.services.house_rows import OFFICE_OPENS, at
from routing.plans.selectors.insertion import drive_share_at
from shared.people.models import User
from shared.people.roles import Role

TAX_MILLIONTHS = 72_500  # of the invented town
Tell = Callable[[SentEstimate, datetime], object]


def estimates_store(*, today: date) -> None:
    """For jobs of the book that wait for a price; the same seed and day give the same."""
    office = User.objects.filter(role=Role.OFFICE).order_by("pk").first()
    places = _jobs()
    # Days since it was made, days that it is good for, and what came of it.
    for days, good_for, then in (
        (6, 30, None), (12, 30, None), (27, 30, None), (24, 20, None), (9, 30, _accepted), (15, 30, _declined),
    ):  # fmt: skip
        estimate = _made(next(places), today - timedelta(days=days), good_for, office)
        sent = _sent(estimate, today - timedelta(days=days), office)
        if then:
            then(sent, at(today - timedelta(days=days - 2)))
    _reconsidered(_made(next(places), today - timedelta(days=3), 30, office), today, office)
    _made(next(places), today, 30, office)


def _jobs() -> Iterator[Job]:
    """Leads and jobs that wait for their price, at houses whose walls are known and that have a place; chalky houses
    first, since they show most."""
    waiting = Job.objects.filter(
        reference__startswith="demo-o",
        state__in=(JobState.LEAD, JobState.ESTIMATED),
        property__walls__area_sqft__isnull=False,
        property__latitude__isnull=False,
    )
    jobs = list(waiting.select_related("property__customer").distinct().order_by("pk"))
    return iter(sorted(jobs, key=lambda job: not _is_chalky(job)))


def _is_chalky(job: Job) -> bool:
    walls = place_facts(place=job.property).walls
    return any(wall.chalk is not None and wall.chalk >= SHOWN_FROM for wall in walls)


def _made(job: Job, on: date, good_for: int, office: User | None) -> Estimate:
    facts = place_facts(place=job.property)
    calculation = estimate_reckon(
        place=facts,
        drive=drive_share_at(place=job.property, today=on),
        wanted=_with_something_beside(suggested(job.property, facts, job)),
        on=on,
        tax_millionths=TAX_MILLIONTHS,
    )
    return estimate_create(
        calculation=calculation,
        job_ref=job.pk,
        now=at(on, OFFICE_OPENS),
        valid_until=on + timedelta(days=good_for),
        actor=office,
    )


def _with_something_beside(wanted: list[WantedLine]) -> list[WantedLine]:
    """Where several services are asked for, the later ones are offered separately too."""
    first, *rest = wanted
    return [first, *(WantedLine(line.service, line.quantity, line.walls, separately=True) for line in rest)]


def _sent(estimate: Estimate, on: date, office: User | None) -> SentEstimate:
    """On paper, so that the demo writes no message that looks as if it had gone out."""
    moment = at(on, OFFICE_OPENS + 30)
    return estimate_send(estimate=estimate, sent_how=SentBy.PAPER, now=moment, today=on, actor=office)


def _accepted(sent: SentEstimate, moment: datetime) -> None:
    seen = sent_get(pk=sent.pk)
    estimate_accept(
        sent=seen,
        option=len(seen.figures["options"]),
        language=seen.estimate.language,
        typed_name=seen.estimate.customer_name,
        now=moment,
        today=moment.date(),
        by_link=True,
        device="demo",
    )


def _declined(sent: SentEstimate, moment: datetime) -> None:
    seen = sent_get(pk=sent.pk)
    estimate_decline(
        sent=seen,
        language=seen.estimate.language,
        typed_name=seen.estimate.customer_name,
        reason="We wait until next year.",
        now=moment,
        today=moment.date(),
        by_link=True,
        device="demo",
    )


def _reconsidered(estimate: Estimate, today: date, office: User | None) -> None:
    """Sent, then changed by the office, and not sent again yet."""
    _sent(estimate, today - timedelta(days=3), office)
    fresh = Estimate.objects.get(pk=estimate.pk)
    option = fresh.options.order_by("-position")[0]
    change = EstimateChange(options=[OptionChange(option.pk, discount_cents=20_00)])
    estimate_change(estimate=fresh, change=change, reason="They asked for a better price.", today=today, actor=office)
