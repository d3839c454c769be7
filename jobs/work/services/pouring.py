"""The record of what was poured and rinsed, and the rule about what must never meet."""

import uuid
from datetime import datetime, timedelta
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from jobs.customers.models import Property, Wall
from jobs.mixing.choices import BasisChoice, ChemistryChoice
from jobs.mixing.models import Product
from jobs.work.domain.reactions import RINSE, reacts_with, unrinsed
from jobs.work.errors import MustNotMeet, RecordedOtherwise
from jobs.work.models import Job, JobLine, Poured, StepMark
from jobs.work.selectors import poured_record
from shared.errors import Refused
from shared.events.services import event_record

CLOCKS_DIFFER = timedelta(minutes=10)
LATEST = timedelta(days=7)  # how long a phone without a signal may keep an entry; our choice


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
    actor: Any = None,
) -> Poured:
    """Write down that a product goes on a wall, or on the whole house. The same entry again is the same row.

    Raises MustNotMeet where it would meet, with no rinse recorded since, what it must never meet: acid or ammonia on
    hypochlorite, or hypochlorite on those. Refused for a wall of another house, a strength without its basis, a time
    that has not come or is over a week ago; RecordedOtherwise.
    """
    if (basis_points is None) != (not basis) or basis and basis not in BasisChoice.values:
        raise Refused(_("A strength without its basis says nothing. Say of what it is a percentage."))
    new = Poured(
        key=key, job=job, wall=wall, product=product, chemistry=product.chemistry, basis_points=basis_points,
        basis=basis, at=at, recorded_at=now, recorded_by=actor,
    )  # fmt: skip
    return _known(new) or _store(new, "product.poured")


@transaction.atomic
def wall_rinse(
    *, key: uuid.UUID, job: Job, wall: Wall | None, at: datetime, now: datetime, actor: Any = None
) -> Poured:
    """Write down that a wall, or the whole house, was rinsed. Raises Refused, RecordedOtherwise as above."""
    new = Poured(key=key, job=job, wall=wall, at=at, recorded_at=now, recorded_by=actor)
    return _known(new) or _store(new, "wall.rinsed")


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
    _require_time(at, now)
    row = StepMark(key=key, job_line=job_line, step=step, is_done=is_done, at=at, recorded_by=actor)
    row.full_clean(exclude=["job_line", "recorded_by"])
    row.save()
    return row


def _known(new: Poured) -> Poured | None:
    row = Poured.objects.filter(key=new.key).first()
    if row is not None and (row.job_id, row.wall_id, row.product_id) != (new.job_id, new.wall_id, new.product_id):
        raise RecordedOtherwise(_("This is written down already, with other content. It is not changed."))
    return row


def _store(new: Poured, kind: str) -> Poured:
    _require_time(new.at, new.recorded_at)
    if new.wall is not None and new.wall.property_id != new.job.property_id:
        raise Refused(_("This wall belongs to another house."), wall=new.wall.pk)
    Property.objects.select_for_update().get(pk=new.job.property_id)  # one entry after the other
    if new.chemistry:
        _require_apart(new)
    new.save()
    data = {"wall": new.wall_id, "chemistry": new.chemistry or RINSE}
    event_record(kind=kind, subject=new.job, actor=new.recorded_by, data=data)
    return new


def _require_time(at: datetime, now: datetime) -> None:
    if at > now + CLOCKS_DIFFER or at < now - LATEST:
        raise Refused(_("The time of this entry cannot be. Set the phone's clock, or tell the office."))


def _require_apart(new: Poured) -> None:
    record = poured_record(property_id=new.job.property_id, until=new.at)
    there = reacts_with(new.chemistry, unrinsed(record, new.wall_id))
    if not there:
        return
    words = _("STOP. %(other)s was poured here and no rinse is recorded: with %(new)s it gives poisonous gas. "
              "Rinse well, write the rinse down, then go on.")  # fmt: skip
    names = ", ".join(str(ChemistryChoice(what).label) for what in sorted(there))
    label = ChemistryChoice(new.chemistry).label
    raise MustNotMeet(words % {"other": names.capitalize(), "new": label}, meets=sorted(there), wall=new.wall_id)
