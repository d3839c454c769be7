"""Estimates in every state, made and answered by the product itself: waiting, ending soon, ended, changed and not sent
again, not sent yet, accepted and declined."""

from collections.abc import Callable, Iterator
from datetime import date, datetime, timedelta

from jobs.customers.models import Property
from jobs.walkthroughs.models import ChalkReading
from jobs.walkthroughs.selectors.places import place_facts
from jobs.work.choices import JobState
from jobs.work.models import Job
from jobs.work.selectors import wall_sqft
from jobs.work.services import NewLine, job_create
from pricing.catalogue.models import Service
from pricing.catalogue.selectors import tax_on
from pricing.estimates.calculation import estimate_reckon
from pricing.estimates.choices import SentBy
from pricing.estimates.inputs import EstimateChange, OptionChange, WantedLine
from pricing.estimates.jobs_behind import jobs_behind
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
from shared.errors import Refused
from shared.people.models import User
from shared.people.roles import Role

LOOKED_AT = 40  # chalky houses, for one that shows most
Tell = Callable[[SentEstimate, datetime], object]


def estimates_store(*, today: date) -> None:
    """For jobs of the book that wait for a price; the same seed and day give the same."""
    office = User.objects.filter(role=Role.OFFICE).order_by("pk").first()
    first = _made(_chalky_lead(today), today - timedelta(days=2), 30, office)
    _sent(first, today - timedelta(days=2), office, SentBy.EMAIL)
    places = _jobs()
    # Days since it was made, days that it is good for, how it was given out, and what came of it.
    for days, good_for, how, then in (
        (6, 30, SentBy.EMAIL, None), (12, 30, SentBy.TEXT, None), (27, 29, SentBy.EMAIL, None),
        (24, 20, SentBy.EMAIL, None), (9, 30, SentBy.EMAIL, _accepted), (15, 30, SentBy.PAPER, _declined),
    ):  # fmt: skip
        estimate = _made(next(places), today - timedelta(days=days), good_for, office)
        sent = _sent(estimate, today - timedelta(days=days), office, how)
        if then:
            then(sent, at(today - timedelta(days=days - 2)))
    _reconsidered(_made(next(places), today - timedelta(days=3), 30, office), today, office)
    _made(next(places), today, 30, office)


def _jobs() -> Iterator[Job]:
    """Leads and jobs that wait for their price, at houses whose walls are known and that have a place."""
    waiting = Job.objects.filter(
        reference__startswith="demo-o",
        state__in=(JobState.LEAD, JobState.ESTIMATED),
        property__walls__area_sqft__isnull=False,
        property__latitude__isnull=False,
    )
    return iter(waiting.select_related("property__customer").distinct().order_by("pk"))


def _chalky_lead(today: date) -> Job:
    """A past customer with chalk on walls and, where there is such a house, on shutters or a door: all that an estimate
    can show."""
    read = ChalkReading.objects.filter(reading__gte=SHOWN_FROM, wall__property__latitude__isnull=False)
    places = Property.objects.select_related("customer").filter(walls__readings__in=read).distinct().order_by("pk")
    place = max(places[:LOOKED_AT], key=lambda place: len(suggested(place, place_facts(place=place), None)))
    wash = Service.objects.get(code="house_wash")
    lines = [NewLine(wash, 0, 1, wall_sqft(property=place))]  # the estimate brings minutes and price
    return job_create(property=place, lines=lines, source="past customer", created_at=at(today - timedelta(days=3)))


def _made(job: Job, on: date, good_for: int, office: User | None) -> Estimate:
    facts = place_facts(place=job.property, job=job)
    calculation = estimate_reckon(
        place=facts,
        drive=drive_share_at(place=job.property, today=on),
        wanted=_with_something_beside(suggested(job.property, facts, job)),
        on=on,
        tax_millionths=tax_on(on=on),
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


def _sent(estimate: Estimate, on: date, office: User | None, how: SentBy) -> SentEstimate:
    """By the way that is named, and on paper where the customer cannot be written to that way."""
    moment = at(on, OFFICE_OPENS + 30)
    if how != SentBy.PAPER and not _can_be_written_to(estimate, how):
        how = SentBy.PAPER
    return estimate_send(estimate=estimate, sent_how=how, now=moment, today=on, actor=office)


def _can_be_written_to(estimate: Estimate, channel: str) -> bool:
    try:
        jobs_behind().recipient(job_ref=estimate.job_ref, channel=channel)
    except Refused:
        return False
    return True


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
    _sent(estimate, today - timedelta(days=3), office, SentBy.PAPER)
    fresh = Estimate.objects.get(pk=estimate.pk)
    option = fresh.options.order_by("-position")[0]
    change = EstimateChange(options=[OptionChange(option.pk, discount_cents=20_00)])
    estimate_change(estimate=fresh, change=change, reason="They asked for a better price.", today=today, actor=office)
