from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.db import transaction
from django.utils.translation import gettext as _

from jobs.walkthroughs.errors import NoticeUnsettled
from jobs.walkthroughs.selectors import Gate, start_gate
from jobs.work.domain.booking import LineBooked
from jobs.work.services import job_arrive
from routing.dispatch.domain.marks import latest_before, mark_missing, minutes_on_site
from routing.dispatch.errors import MarkRefused
from routing.dispatch.models import MarkKind, SentStop, StopMark
from routing.dispatch.services.booking import job_book
from shared import clock
from shared.errors import Refused
from shared.events.services import event_record

CLOCKS_DIFFER_BY = timedelta(minutes=2)  # a phone's clock may run this much ahead; our choice, no source


@transaction.atomic
def stop_mark(
    *,
    stop: SentStop,
    kind: str,
    at: datetime,
    now: datetime,
    actor: Any = None,
    lines: Sequence[LineBooked] = (),
    on_site_minutes: int | None = None,
    note: str = "",
) -> StopMark:
    """The crew arrived, started or finished at a stop. The same mark again is the same mark and changes nothing.

    Arriving puts the job on site; finishing books it, with the minutes that the crew says (`on_site_minutes`, or
    minutes for every line), otherwise those from arriving to finishing, and the stop's share of the driving. A mark
    that comes after its day, from a phone that had no signal, says so in the job's history; so does a start that was
    made before the notice that opens it was acknowledged or sent. Raises MarkRefused for a mark out of order, of
    another day or in the future, NoticeUnsettled for a start before what was found on the walls is shown and
    acknowledged, and what booking raises.
    """
    if kind not in MarkKind.values:
        raise Refused(_("A mark is arrived, started or finished."), kind=kind)
    work_date = stop.route.sent.plan.work_date
    made = {mark.kind: mark for mark in StopMark.objects.filter(job=stop.job, work_date=work_date)}
    if kind in made:
        return made[kind]
    times = {name: mark.at for name, mark in made.items()}
    _require_order(kind, times)
    _require_time(stop, kind, at, now, times)
    gate = _settled_gate(stop) if kind == MarkKind.STARTED else None
    mark, is_new = StopMark.objects.get_or_create(
        job=stop.job,
        work_date=work_date,
        kind=kind,
        defaults={"crew": stop.route.crew, "at": at, "recorded_by": actor},
    )
    if is_new:
        _follow(stop, mark, times, lines, on_site_minutes, note, actor, now)
        _record_late(stop, mark, now, actor)
        _record_unseen(stop, mark, gate, actor)
    return mark


def _record_late(stop: SentStop, mark: StopMark, now: datetime, actor: Any) -> None:
    zone = stop.route.sent.plan.yard.timezone
    if clock.local_date(zone, now) > mark.work_date:
        data = {"at": mark.at.isoformat(), "received": now.isoformat()}
        reason = _time_words(mark.at, zone)
        event_record(kind=f"job.{mark.kind}_late", subject=stop.job, actor=actor, reason=reason, data=data)


def _record_unseen(stop: SentStop, mark: StopMark, gate: Gate | None, actor: Any) -> None:
    """A start that waited on a phone comes up after what opened it; it is the truth and kept, and the office is told
    where, by the clocks, it was before that."""
    settled_at = gate.settled_at if gate else None
    if settled_at is None or mark.at + CLOCKS_DIFFER_BY >= settled_at:
        return
    zone = stop.route.sent.plan.yard.timezone
    data = {"at": mark.at.isoformat(), "settled": settled_at.isoformat()}
    reason = f"{_time_words(mark.at, zone)}, {_time_words(settled_at, zone)}"
    event_record(kind="job.started_unseen", subject=stop.job, actor=actor, reason=reason, data=data)


def _time_words(at: datetime, zone: str) -> str:
    return at.astimezone(ZoneInfo(zone)).strftime("%Y-%m-%d %H:%M")


def _require_order(kind: str, times: dict[str, datetime]) -> None:
    missing = mark_missing(kind, times)
    if missing:
        words = _("First mark this stop as %(missing)s, then as %(kind)s.")
        raise MarkRefused(words % {"missing": MarkKind(missing).label, "kind": MarkKind(kind).label}, missing=missing)


def _settled_gate(stop: SentStop) -> Gate:
    gate = start_gate(job_id=stop.job_id)
    if not gate.is_open:
        raise NoticeUnsettled(gate.words, state=gate.state)
    return gate


def _require_time(stop: SentStop, kind: str, at: datetime, now: datetime, times: dict[str, datetime]) -> None:
    plan = stop.route.sent.plan
    if at > now + CLOCKS_DIFFER_BY:
        raise MarkRefused(_("This time has not come yet."), at=at.isoformat())
    if clock.local_date(plan.yard.timezone, at) != plan.work_date:
        raise MarkRefused(_("This stop belongs to another day."), work_date=plan.work_date.isoformat())
    earliest = latest_before(kind, times)
    if earliest is not None and at < earliest:
        raise MarkRefused(_("This time is before the mark that comes first."), earliest=earliest.isoformat())


def _follow(
    stop: SentStop,
    mark: StopMark,
    times: dict[str, datetime],
    lines: Sequence[LineBooked],
    on_site_minutes: int | None,
    note: str,
    actor: Any,
    now: datetime,
) -> None:
    if mark.kind == MarkKind.ARRIVED:
        job_arrive(job=stop.job, actor=actor)
    elif mark.kind == MarkKind.STARTED:
        event_record(kind="job.started", subject=stop.job, actor=actor, data={"crew": stop.route.crew_id})
    else:
        _book(stop, mark, times, lines, on_site_minutes, note, actor, now)


def _book(
    stop: SentStop,
    mark: StopMark,
    times: dict[str, datetime],
    lines: Sequence[LineBooked],
    on_site_minutes: int | None,
    note: str,
    actor: Any,
    now: datetime,
) -> None:
    job_book(
        job=stop.job,
        crew=stop.route.crew,
        work_date=mark.work_date,
        on_site_minutes=on_site_minutes or _minutes_said(stop, lines) or minutes_on_site(times["arrived"], mark.at),
        drive_minutes=stop.drive_minutes,
        drive_metres=stop.drive_metres,
        arrived_at=times["arrived"],
        started_at=times["started"],
        finished_at=mark.at,
        lines=lines,
        note=note,
        actor=actor,
        now=now,
    )


def _minutes_said(stop: SentStop, lines: Sequence[LineBooked]) -> int | None:
    """The sum of the lines' minutes where the crew gave them for every line; the clock may have been forgotten."""
    said = {line.line_id: line.minutes for line in lines if line.minutes is not None}
    if said.keys() != set(stop.job.lines.values_list("pk", flat=True)):
        return None
    return sum(said.values())
