"""The record of what was poured and rinsed, and the rule about what must never meet.

Who asks before pouring gets a STOP and nothing is written. What has happened already is always written down, since it
is the truth and somebody has to be warned: what came up late from a phone, or was said to have happened."""

import uuid
from datetime import datetime, timedelta
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from jobs.customers.models import Property, Wall
from jobs.mixing.choices import BasisChoice, ChemistryChoice
from jobs.mixing.models import Product
from jobs.work.domain.reactions import RINSE, Verdict, verdict
from jobs.work.domain.reactions import Poured as PouredLine
from jobs.work.errors import MustNotMeet, ReasonMissing, RecordedOtherwise
from jobs.work.models import Job, JobLine, Poured, StepMark
from jobs.work.selectors import poured_record
from shared.errors import Refused
from shared.events.services import event_record

CLOCKS_DIFFER = timedelta(minutes=10)
LATEST = timedelta(days=7)  # how long a phone without a signal may keep an entry; our choice
LEAST_REASON = 3  # letters


@transaction.atomic
def product_pour(
    *,
    key: uuid.UUID,
    job: Job,
    product: Product,
    wall: Wall | None,
    at: datetime,
    now: datetime,
    basis_points: int | None = None,
    basis: str = "",
    happened: bool = False,
    actor: Any = None,
) -> Poured:
    """Write down that a product goes on a wall, or on the whole house. The same entry again is the same row.

    `happened` says that it was poured already; so was what is more than ten minutes old. That is kept in any case, and
    where it brings to light that two met, the history says so. Else raises MustNotMeet where it would meet, with no
    rinse recorded between, what it must never meet (acid or ammonia and hypochlorite), and where two such have met and
    nobody has rinsed since. Refused for a wall of another house, a strength without its basis, a time that has not
    come or is over a week ago; RecordedOtherwise.
    """
    if (basis_points is None) != (not basis) or basis and basis not in BasisChoice.values:
        raise Refused(_("A strength without its basis says nothing. Say of what it is a percentage."))
    new = Poured(
        key=key, job=job, wall=wall, product=product, chemistry=product.chemistry, basis_points=basis_points,
        basis=basis, at=at, recorded_at=now, recorded_by=actor,
    )  # fmt: skip
    return _known(new) or _store_pour(new, happened=happened or at < now - CLOCKS_DIFFER)


@transaction.atomic
def wall_rinse(
    *, key: uuid.UUID, job: Job, wall: Wall | None, at: datetime, now: datetime, actor: Any = None
) -> Poured:
    """Write down that a wall, or the whole house, was rinsed. Raises Refused, RecordedOtherwise as above."""
    new = Poured(key=key, job=job, wall=wall, at=at, recorded_at=now, recorded_by=actor)
    return _known(new) or _store_rinse(new, "wall.rinsed", not_before=now - LATEST)


@transaction.atomic
def rinse_confirm(
    *, key: uuid.UUID, job: Job, wall: Wall | None, at: datetime, reason: str, now: datetime, actor: Any
) -> Poured:
    """Somebody answers for it by name that a wall was rinsed at a time, however long ago, and says how he knows.

    It counts as a rinse of that time. Raises ReasonMissing, Refused for a time that has not come or without a person,
    RecordedOtherwise.
    """
    words = " ".join(reason.split())
    if len(words) < LEAST_REASON:
        raise ReasonMissing
    if actor is None:
        raise Refused(_("Somebody has to answer for it by name."))
    new = Poured(key=key, job=job, wall=wall, at=at, reason=words, recorded_at=now, recorded_by=actor)
    new.clean_fields()
    return _known(new) or _store_rinse(new, "rinse.confirmed")


@transaction.atomic
def step_mark(
    *, key: uuid.UUID, job_line: JobLine, step: str, is_done: bool, at: datetime, now: datetime, actor: Any = None
) -> StepMark:
    """A step was done, or was not after all. The same entry again is the same row. Raises Refused for a time that
    cannot be, RecordedOtherwise, ValidationError."""
    known = StepMark.objects.filter(key=key).first()
    if known is not None:
        if (known.job_line_id, known.step, known.is_done) != (job_line.pk, step, is_done):
            raise RecordedOtherwise(_("This is written down already, with other content. It is not changed."))
        return known
    _require_time(at, now, now - LATEST)
    row = StepMark(key=key, job_line=job_line, step=step, is_done=is_done, at=at, recorded_by=actor)
    row.full_clean(exclude=["job_line", "recorded_by"])
    row.save()
    return row


def _known(new: Poured) -> Poured | None:
    row = Poured.objects.filter(key=new.key).first()
    if row is not None and (row.job_id, row.wall_id, row.product_id) != (new.job_id, new.wall_id, new.product_id):
        raise RecordedOtherwise(_("This is written down already, with other content. It is not changed."))
    return row


def _store_pour(new: Poured, *, happened: bool) -> Poured:
    _guard(new, not_before=new.recorded_at - LATEST)
    if known := _known(new):  # the same entry went up twice at once
        return known
    found = verdict(poured_record(property_id=new.job.property_id), PouredLine(new.chemistry, new.wall_id, new.at))
    if found.is_stopped and not happened:
        raise _must_not_meet(new, found)
    _save(new, "product.poured")
    if found.meets:
        data = {"wall": new.wall_id, "chemistry": new.chemistry, "meets": sorted(found.meets)}
        event_record(kind="products.met", subject=new.job, actor=new.recorded_by, data=data)
    return new


def _store_rinse(new: Poured, kind: str, *, not_before: datetime | None = None) -> Poured:
    _guard(new, not_before=not_before)
    return _known(new) or _save(new, kind)


def _guard(new: Poured, *, not_before: datetime | None = None) -> None:
    """The entries of a house are judged and stored one after the other."""
    _require_time(new.at, new.recorded_at, not_before)
    if new.wall is not None and new.wall.property_id != new.job.property_id:
        raise Refused(_("This wall belongs to another house."), wall=new.wall.pk)
    Property.objects.select_for_update().get(pk=new.job.property_id)


def _save(new: Poured, kind: str) -> Poured:
    new.save()
    data = {"wall": new.wall_id, "chemistry": new.chemistry or RINSE}
    event_record(kind=kind, subject=new.job, actor=new.recorded_by, reason=new.reason, data=data)
    return new


def _require_time(at: datetime, now: datetime, not_before: datetime | None) -> None:
    if at > now + CLOCKS_DIFFER or (not_before is not None and at < not_before):
        raise Refused(_("The time of this entry cannot be. Set the phone's clock, or tell the office."))


def _must_not_meet(new: Poured, found: Verdict) -> MustNotMeet:
    there = found.meets or found.met
    names = ", ".join(str(ChemistryChoice(what).label) for what in sorted(there)).capitalize()
    if found.meets:
        words = _("STOP. %(other)s was poured here and no rinse is recorded: with %(new)s it gives poisonous gas. "
                  "Rinse well, write the rinse down, then go on.")  # fmt: skip
    else:
        words = _("STOP. %(other)s met here and no rinse is recorded since: they give poisonous gas. "
                  "Nothing else before the wall is rinsed and the rinse is written down.")  # fmt: skip
    label = ChemistryChoice(new.chemistry).label
    return MustNotMeet(words % {"other": names, "new": label}, meets=sorted(there), wall=new.wall_id)
