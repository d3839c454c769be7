"""What the reminders brought: by campaign of due dates, and against those who were held back."""

import io
from bisect import bisect_right
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any

from django.db.models import Min
from django.db.models.functions import Coalesce

from jobs.customers.domain.outfiles import CsvOut
from jobs.customers.models import Consent
from jobs.reminders.domain.gain import ANSWERED_WITHIN, Arm, Gain, campaign_of, gain
from jobs.reminders.models import HeldBack, InboundText, Reminder, ReminderAnswer, ReplyMeaning
from jobs.work.choices import JobState
from jobs.work.models import Job
from pricing.earnings.domain.ratio import Moments, RatioEstimate, ratio_estimate
from pricing.earnings.selectors import earned_by_job
from shared.outbox.models import MessageState
from shared.units import MINUTES_PER_HOUR, round_half_up

BOOKED = (JobState.AGREED, JobState.PLANNED, JobState.ON_SITE, JobState.DONE)


@dataclass(frozen=True)
class Addressed:
    """One person in one campaign: written to, or held back (`state` empty), with what came within ANSWERED_WITHIN."""

    campaign: date
    customer_id: int
    property_ids: frozenset[int]
    at: datetime
    state: str = ""
    is_delivered: bool = False
    was_drawn: bool = True
    is_answered: bool = False
    opted_out: bool = False
    jobs: tuple[int, ...] = ()

    @property
    def is_held_back(self) -> bool:
        return not self.state

    @property
    def is_sent(self) -> bool:
        return self.state == MessageState.SENT


@dataclass(frozen=True)
class CampaignResult:
    """What came of one campaign; of all together where `campaign` is None.

    Counts are of people who were written to. `told` and `held` are those who took part in the draw and had
    ANSWERED_WITHIN to answer; `earned` is cents per crew-minute of the work that came and is booked so far.
    """

    campaign: date | None
    written: int
    sent: int
    delivered: int
    answered: int
    booked: int
    washed: int
    opted_out: int
    earned_cents: int
    earned: RatioEstimate | None
    told: Arm
    held: Arm
    gain: Gain | None

    @property
    def more_jobs(self) -> Gain | None:
        """The gain in people who booked, among those who were written to after a draw."""
        if self.gain is None:
            return None
        return Gain(*(self.told.people * share for share in (self.gain.value, self.gain.low, self.gain.high)))

    @property
    def earned_per_crew_hour(self) -> tuple[int, int | None, int | None] | None:
        """Cents, and the ends of the interval where there is one."""
        if self.earned is None:
            return None
        return _hourly(self.earned.value) or 0, _hourly(self.earned.low), _hourly(self.earned.high)


@dataclass(frozen=True)
class Brought:
    """The newest campaign first, and all of them together."""

    campaigns: tuple[CampaignResult, ...]
    total: CampaignResult


@dataclass(frozen=True)
class _Came:
    """The jobs that were booked, those done, and what each earned in how many crew-minutes."""

    done: frozenset[int]
    earned: Mapping[int, tuple[float, int]]


def brought(*, now: datetime, since: date | None = None) -> Brought:
    """What came of all reminders of the campaigns from `since` on. A fixed number of queries."""
    first = campaign_of(since) if since else date.min
    people = sorted([*_written_to(first), *_held_back(first)], key=lambda each: each.at)
    people, done = _with_jobs(_with_words(people))
    came = _Came(done, earned_by_job({job for each in people for job in each.jobs}))
    by_campaign: dict[date, list[Addressed]] = {}
    for each in people:
        by_campaign.setdefault(each.campaign, []).append(each)
    rows = [_result(campaign, by_campaign[campaign], came, now) for campaign in sorted(by_campaign, reverse=True)]
    total = _result(None, people, came, now)
    return Brought(tuple(rows), replace(total, gain=gain([(row.told, row.held) for row in rows])))


def brought_json(found: Brought) -> dict[str, Any]:
    """As the command and the API give it."""
    return {"campaigns": [_json(row) for row in found.campaigns], "total": _json(found.total)}


def _json(row: CampaignResult) -> dict[str, Any]:
    hourly = row.earned_per_crew_hour or (None, None, None)
    return {
        "campaign": row.campaign.strftime("%Y-%m") if row.campaign else None,
        **{name: getattr(row, name) for name in ("written", "sent", "delivered", "answered", "booked", "washed")},
        "opted_out": row.opted_out,
        "earned_cents": row.earned_cents,
        "earned_cents_per_crew_hour": hourly[0],
        "earned_low_cents_per_crew_hour": hourly[1],
        "earned_high_cents_per_crew_hour": hourly[2],
        "compared": {"reminded": _arm_json(row.told), "held_back": _arm_json(row.held)},
        "gain": _gain_json(row.gain, 4),
        "more_jobs": _gain_json(row.more_jobs, 1),
    }


def brought_csv(found: Brought) -> str:
    """One row for each campaign and one for all together; the columns are those of the API, its groups spelt out."""
    rows = [_flat(_json(row)) for row in (*found.campaigns, found.total)]
    out = io.StringIO(newline="")
    table = CsvOut(out, rows[0])
    for row in rows:
        table.write(row.values())
    return out.getvalue()


def _flat(row: dict[str, Any]) -> dict[str, Any]:
    """The row with one name for each figure; of what is not known each figure is empty."""
    flat = {name: value for name, value in row.items() if name not in ("compared", "gain", "more_jobs")}
    flat["campaign"] = row["campaign"] or "all"
    for arm, counts in row["compared"].items():
        flat |= {f"compared_{arm}_{name}": value for name, value in counts.items()}
    for name in ("gain", "more_jobs"):
        flat |= {f"{name}_{end}": (row[name] or {}).get(end) for end in ("value", "low", "high")}
    return flat


def _arm_json(arm: Arm) -> dict[str, int]:
    return {"people": arm.people, "booked": arm.booked}


def _gain_json(found: Gain | None, digits: int) -> dict[str, float] | None:
    if found is None:
        return None
    return {name: round(getattr(found, name), digits) for name in ("value", "low", "high")}


def _hourly(per_minute: float | None) -> int | None:
    return None if per_minute is None else round_half_up(per_minute * MINUTES_PER_HOUR)


def _written_to(first: date) -> list[Addressed]:
    """One for each message; it belongs to the campaign of the earliest due date that it is about."""
    rows = Reminder.objects.order_by("message", "due_on", "id").values_list(
        "message", "due_on", "property", "property__customer", "created_at", "message__state",
        "message__delivered_at", "was_drawn",
    )  # fmt: skip
    found: dict[int, Addressed] = {}
    for message, due_on, place, customer, at, state, delivered_at, was_drawn in rows.iterator():
        known = found.get(message)
        if known is not None:
            found[message] = replace(known, property_ids=known.property_ids | {place})
            continue
        found[message] = Addressed(
            campaign_of(due_on), customer, frozenset({place}), at, state, delivered_at is not None, was_drawn
        )
    return [each for each in found.values() if each.campaign >= first]


def _held_back(first: date) -> list[Addressed]:
    rows = HeldBack.objects.order_by("message_key", "due_on", "id").values_list(
        "message_key", "due_on", "property", "property__customer", "at"
    )
    found: dict[str, Addressed] = {}
    for key, due_on, place, customer, at in rows.iterator():
        known = found.get(key)
        places = known.property_ids | {place} if known else frozenset({place})
        found[key] = Addressed(known.campaign if known else campaign_of(due_on), customer, places, at)
    return [each for each in found.values() if each.campaign >= first]


def _with_words(people: Sequence[Addressed]) -> list[Addressed]:
    """With who answered and who opted out within the time, through a link, by text or by telephone."""
    who = Coalesce("customer__merged_into", "customer")
    answers = _instants(ReminderAnswer.objects.values_list(who, "at"))
    texts = _instants(
        InboundText.objects.exclude(meaning=ReplyMeaning.STOP).filter(customer__isnull=False).values_list(who, "at")
    )
    refusals = _instants(Consent.objects.filter(given=False).values_list(who, "at"))
    return [
        replace(
            each,
            is_answered=_fell_within(answers, each) or _fell_within(texts, each),
            opted_out=_fell_within(refusals, each),
        )
        for each in people
    ]


def _instants(rows: Iterable[tuple[int, datetime]]) -> dict[int, list[datetime]]:
    found: dict[int, list[datetime]] = {}
    for customer, at in rows:
        found.setdefault(customer, []).append(at)
    return found


def _fell_within(instants: Mapping[int, Sequence[datetime]], each: Addressed) -> bool:
    return any(each.at <= at <= each.at + ANSWERED_WITHIN for at in instants.get(each.customer_id, ()))


def _with_jobs(people: Sequence[Addressed]) -> tuple[list[Addressed], frozenset[int]]:
    """With the jobs that were booked within the time, each with the newest message before it; and which are done.

    `people` in the order of time. Free return visits are no booking.
    """
    at_place: dict[int, list[int]] = {}
    for number, each in enumerate(people):
        for place in each.property_ids:
            at_place.setdefault(place, []).append(number)
    jobs: dict[int, list[int]] = {}
    done = set()
    for job, place, state, at in _bookings():
        told = _newest_before(people, at_place.get(place, []), at)
        if told is not None:
            jobs.setdefault(told, []).append(job)
            done |= {job} if state == JobState.DONE else set()
    return [replace(each, jobs=tuple(jobs.get(number, ()))) for number, each in enumerate(people)], frozenset(done)


def _bookings() -> Iterable[tuple[int, int, str, datetime]]:
    """Jobs that somebody agreed to at properties of this list, since the first message."""
    firsts = [Reminder.objects.aggregate(at=Min("created_at"))["at"], HeldBack.objects.aggregate(at=Min("at"))["at"]]
    began = min((at for at in firsts if at), default=None)
    if began is None:
        return ()
    jobs = Job.objects.filter(state__in=BOOKED, callback_of__isnull=True, created_at__gte=began).order_by("id")
    return jobs.values_list("pk", "property", "state", "created_at").iterator()


def _newest_before(people: Sequence[Addressed], numbers: Sequence[int], at: datetime) -> int | None:
    place = bisect_right(numbers, at, key=lambda number: people[number].at) - 1
    if place < 0 or at > people[numbers[place]].at + ANSWERED_WITHIN:
        return None
    return numbers[place]


def _result(campaign: date | None, people: Sequence[Addressed], came: _Came, now: datetime) -> CampaignResult:
    told = [each for each in people if not each.is_held_back]
    jobs = [job for each in told for job in each.jobs]
    pairs = [
        (float(minutes), float(cents)) for minutes, cents in (came.earned[job] for job in jobs if job in came.earned)
    ]
    ripe = [each for each in people if each.was_drawn and each.at + ANSWERED_WITHIN <= now]
    arms = (
        _arm([each for each in ripe if not each.is_held_back]),
        _arm([each for each in ripe if each.is_held_back]),
    )
    return CampaignResult(
        campaign=campaign,
        written=len(told),
        sent=sum(each.is_sent for each in told),
        delivered=sum(each.is_delivered for each in told),
        answered=sum(each.is_answered for each in told),
        booked=sum(bool(each.jobs) for each in told),
        washed=sum(any(job in came.done for job in each.jobs) for each in told),
        opted_out=sum(each.opted_out for each in told),
        earned_cents=round(sum(cents for _minutes, cents in pairs)),
        earned=ratio_estimate(Moments.of(pairs)),
        told=arms[0],
        held=arms[1],
        gain=gain([arms]),
    )


def _arm(people: Sequence[Addressed]) -> Arm:
    return Arm(len(people), sum(bool(each.jobs) for each in people))
