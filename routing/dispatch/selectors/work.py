"""One stop's work on the phone: steps that are done, what was poured, and what lies where."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from django.utils.translation import gettext as _

from jobs.mixing.choices import ChemistryChoice
from jobs.mixing.models import Product
from jobs.mixing.words import strength_words
from jobs.work.domain.reactions import Poured as PouredLine
from jobs.work.domain.reactions import meetings_of, unrinsed, verdict
from jobs.work.models import Poured
from jobs.work.selectors import poured_list, poured_record, steps_done
from routing.dispatch.instructions import Step
from routing.dispatch.models import SentStop
from routing.dispatch.selectors.phone import PhoneStop, phone_stop
from routing.dispatch.selectors.weather import day_weather
from routing.dispatch.sheet import SheetLine
from routing.dispatch.weather_words import weather_words


@dataclass(frozen=True, slots=True)
class PhoneStep:
    """`writes` says what this step has to be written down besides: pour, rinse or nothing."""

    step: Step
    done_minute: int | None  # as the yard's clocks showed it
    writes: str = ""


@dataclass(frozen=True, slots=True)
class PhoneLine:
    row: SheetLine
    steps: tuple[PhoneStep, ...]


@dataclass(frozen=True, slots=True)
class PhoneProduct:
    """A product that may be poured here. `stop` names what lies unrinsed somewhere and must not meet it, or what met
    there; `caution` what lies there from so long ago that it is no stop."""

    pk: int
    name: str
    basis_points: int | None
    basis: str
    strength: str
    stop: str
    caution: str


@dataclass(frozen=True)
class PhoneWork:
    stop: PhoneStop
    lines: tuple[PhoneLine, ...]
    products: tuple[PhoneProduct, ...]
    poured: tuple[tuple[int, str], ...]  # minute of the day, words; newest first
    lies_there: str
    is_stopped: bool  # two met here, and nobody rinsed since: no line goes on
    weather: tuple[str, ...]


def phone_work(*, stop: SentStop, now: datetime) -> PhoneWork:
    """Everything of the page, in a number of queries that does not grow with steps and products."""
    page, plan = phone_stop(stop=stop), stop.route.sent.plan
    zone = plan.yard.timezone
    done = steps_done(job_ids=[stop.job_id])
    record = poured_record(property_id=stop.job.property_id)
    return PhoneWork(
        stop=page,
        lines=tuple(_line(line, done, zone) for line in page.row.lines),
        products=tuple(_products(page, record, now)),
        poured=tuple((_minute(row.at, zone), _poured_words(row)) for row in poured_list(job_id=stop.job_id)),
        lies_there=_labels(unrinsed(record, None)),
        is_stopped=any(meeting.stops_at(now) for meeting in meetings_of(record)),
        weather=weather_words(day_weather(yard=plan.yard, work_date=plan.work_date)),
    )


def _line(line: SheetLine, done: Mapping[tuple[int, str], datetime], zone: str) -> PhoneLine:
    times = ((step, done.get((line.line_id, step.code))) for step in line.steps)
    rows = (
        PhoneStep(step, None if at is None else _minute(at, zone), _writes(step, has_mix=bool(line.mixes)))
        for step, at in times
    )
    return PhoneLine(line, tuple(rows))


def _writes(step: Step, *, has_mix: bool) -> str:
    if not has_mix:
        return ""
    return {"apply": "pour", "work": "pour", "rinse": "rinse", "between": "rinse", "before": "rinse"}.get(step.code, "")


def _products(page: PhoneStop, record: Sequence[PouredLine], now: datetime) -> list[PhoneProduct]:
    """Those of the stop's mixes first, with their strength, then every other product of the company."""
    planned = {note.product_id: note for line in page.row.lines for note in line.mixes if not note.is_stopped}
    rows = sorted(Product.objects.filter(is_active=True), key=lambda row: (row.pk not in planned, row.name))
    found = {what: verdict(record, PouredLine(what, None, now)) for what in {row.chemistry for row in rows}}
    return [
        PhoneProduct(
            pk=row.pk,
            name=row.name,
            basis_points=planned[row.pk].basis_points if row.pk in planned else None,
            basis=planned[row.pk].basis if row.pk in planned else "",
            strength=strength_words(planned[row.pk].basis_points, planned[row.pk].basis) if row.pk in planned else "",
            stop=_labels(found[row.chemistry].meets | found[row.chemistry].met),
            caution=_labels(found[row.chemistry].cautions),
        )
        for row in rows
    ]


def _labels(kinds: Iterable[str]) -> str:
    return ", ".join(str(ChemistryChoice(what).label) for what in sorted(kinds))


def _poured_words(row: Poured) -> str:
    where = _(row.wall.name) if row.wall else _("whole house")
    if row.reason:
        return _("%(where)s: rinsed, confirmed afterwards: %(reason)s") % {"where": where, "reason": row.reason}
    if row.product is None:
        return _("%(where)s: rinsed") % {"where": where}
    strength = f", {strength_words(row.basis_points, row.basis)}" if row.basis_points else ""
    return f"{where}: {row.product.name}{strength}"


def _minute(at: datetime, zone: str) -> int:
    local = at.astimezone(ZoneInfo(zone))
    return local.hour * 60 + local.minute
