"""Whether a job may be started: what was found on the walls is shown and acknowledged first."""

from collections.abc import Collection
from dataclasses import dataclass, replace
from datetime import datetime

from django.db.models import Prefetch
from django.utils.translation import gettext as _

from jobs.walkthroughs.domain import must_be_shown
from jobs.walkthroughs.models import NobodyHome, Notice, StartOverride, Walkthrough, WallFinding
from jobs.walkthroughs.selectors.notices import is_disputed
from jobs.work.models import JobLine


@dataclass(frozen=True, slots=True)
class Gate:
    """`state` is one of not_needed, missing, nothing, unshown, open, differs, acknowledged, nobody_home, overridden.
    `walked` are the keys of the job's walkthroughs, oldest first, `answered` those of their answers without a signal:
    what a phone holds besides them is not in this gate yet. `settled_at`: when the homeowner acknowledged what was
    found, by whose clock it was, or was first written to about it."""

    state: str
    words: str
    reason: str = ""
    notice_id: int | None = None
    walkthrough_id: int | None = None
    walked: tuple[str, ...] = ()
    answered: tuple[str, ...] = ()
    settled_at: datetime | None = None

    @property
    def is_open(self) -> bool:
        return self.state in ("not_needed", "nothing", "acknowledged", "nobody_home", "overridden")

    @property
    def is_settled(self) -> bool:
        """Whether the homeowner acknowledged what was found, or was written to about it."""
        return self.state in ("acknowledged", "nobody_home")


def start_gate(*, job_id: int) -> Gate:
    """The gate of one job."""
    return start_gates(job_ids=[job_id])[job_id]


def start_gates(*, job_ids: Collection[int]) -> dict[int, Gate]:
    """The gates of some jobs, in a number of queries that does not grow with them. The newest walkthrough counts.

    Work that needs no walkthrough may start without one; but what somebody found nevertheless is shown first."""
    needing = set(
        JobLine.objects.filter(job__in=job_ids, service__needs_walkthrough=True).values_list("job", flat=True)
    )
    rows = _walkthroughs(job_ids)
    newest = {row.job_id: row for row in rows}
    overrides = {row.job_id: row for row in StartOverride.objects.filter(job__in=job_ids).order_by("pk")}
    gates = {job: _gate(job in needing, newest.get(job), overrides.get(job)) for job in job_ids}
    for row in rows:
        gate = gates[row.job_id]
        gates[row.job_id] = replace(
            gate, walked=(*gate.walked, str(row.key)), answered=(*gate.answered, *_answer_keys(row))
        )
    return gates


def _answer_keys(walkthrough: Walkthrough) -> list[str]:
    """Of what phones without a signal answered to its notices."""
    answers = [
        answer
        for notice in walkthrough.notices.all()
        for answer in (getattr(notice, "acknowledgement", None), *notice.absences.all())
    ]
    return [str(answer.offline.key) for answer in answers if answer is not None and hasattr(answer, "offline")]


def _walkthroughs(job_ids: Collection[int]) -> list[Walkthrough]:
    """Oldest first, so that the newest of a job is met last."""
    notices = (
        Notice.objects.select_related("acknowledgement__offline__settled")
        .prefetch_related(Prefetch("absences", NobodyHome.objects.select_related("offline")))
        .order_by("-pk")
    )
    findings = WallFinding.objects.select_related("reading")
    rows = Walkthrough.objects.filter(job__in=job_ids).order_by("pk")
    return list(rows.prefetch_related(Prefetch("wall_findings", findings), "findings", Prefetch("notices", notices)))


def is_to_be_shown(walkthrough: Walkthrough) -> bool:
    """Whether there is chalk from 2 on, or anything else, that the homeowner has to see first."""
    chalk = any(must_be_shown(found.reading.reading) for found in walkthrough.wall_findings.all())
    return chalk or bool(walkthrough.findings.all())


def _gate(is_needed: bool, walkthrough: Walkthrough | None, override: StartOverride | None) -> Gate:
    if not is_needed and walkthrough is None:
        return Gate("not_needed", _("No walkthrough needed."))
    gate = _of_walkthrough(walkthrough)
    if gate.is_open or override is None:
        return gate
    return Gate("overridden", _("May start: the owner said so."), override.reason, gate.notice_id, gate.walkthrough_id)


def _of_walkthrough(walkthrough: Walkthrough | None) -> Gate:
    if walkthrough is None:
        return Gate("missing", _("First walk around the house and write down what you find."))
    pk = walkthrough.pk
    if not is_to_be_shown(walkthrough):
        return Gate("nothing", _("Walkthrough done: nothing to show."), walkthrough_id=pk)
    notice = next(iter(walkthrough.notices.all()), None)
    if notice is None:
        return Gate("unshown", _("First show the homeowner what you found."), walkthrough_id=pk)
    answer = getattr(notice, "acknowledgement", None)
    if answer is not None and is_disputed(answer):
        words = _("What the phone showed without a signal differs from our text. The office looks at it.")
        return Gate("differs", words, notice_id=notice.pk, walkthrough_id=pk)
    if answer is not None:
        words = _("%(name)s acknowledged the notice.") % {"name": answer.typed_name}
        return Gate("acknowledged", words, notice_id=notice.pk, walkthrough_id=pk, settled_at=answer.at)
    if absences := notice.absences.all():
        sent_at = min(absence.at for absence in absences)
        words = _("Nobody was home; the notice was sent.")
        return Gate("nobody_home", words, notice_id=notice.pk, walkthrough_id=pk, settled_at=sent_at)
    return Gate("open", _("The notice is not acknowledged yet."), notice_id=notice.pk, walkthrough_id=pk)
