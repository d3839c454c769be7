"""What the demo's crews poured and rinsed: a job as it should be, and two where an entry that came up late shows that
two products met, one rinsed since and one not. The houses are those of done jobs with nothing planned."""

import uuid
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from jobs.customers.models import Wall
from jobs.mixing.models import Product
from jobs.work.choices import JobState
from jobs.work.models import Job
from jobs.work.services import product_pour, wall_rinse
from routing.demo.services.house_rows import at
from shared.people.models import User
from shared.people.roles import Role

SINCE = timedelta(days=40)
BLEACHED, BRIGHTENED, FOUND, RINSED = 10 * 60, 10 * 60 + 25, 16 * 60, 16 * 60 + 20  # minutes of the day


def pours_store(*, today: date, seed: int) -> None:
    """The same seed and day give the same."""
    lead = User.objects.filter(role=Role.CREW_LEAD).order_by("pk").first()
    bleach, brightener = (Product.objects.get(name=name) for name in ("Stock bleach", "Deck brightener"))
    for (job, day), tell in zip(_done_jobs(today), (_as_it_should_be, _met_and_rinsed, _met), strict=False):
        wall = Wall.objects.filter(property=job.property_id).order_by("pk").first()
        tell(_Writer(job, day, wall, lead, seed), bleach, brightener)


@dataclass(frozen=True)
class _Writer:
    """Writes the entries of one job on one day, at minutes of the day; `came` is when an entry came up."""

    job: Job
    day: date
    wall: Wall | None
    lead: User | None
    seed: int

    def pour(self, product: Product, minute: int, came: int | None = None) -> None:
        product_pour(product=product, **self._common(minute, came or minute))

    def rinse(self, minute: int) -> None:
        wall_rinse(**self._common(minute, minute))

    def _common(self, minute: int, came: int) -> dict[str, Any]:
        key = uuid.uuid5(uuid.NAMESPACE_OID, f"{self.seed}:{self.job.pk}:{minute}")
        times = {"at": at(self.day, minute), "now": at(self.day, came)}
        return {"key": key, "job": self.job, "wall": self.wall, "actor": self.lead, **times}


def _as_it_should_be(writer: _Writer, bleach: Product, brightener: Product) -> None:
    writer.pour(bleach, BLEACHED)
    writer.rinse(BRIGHTENED)


def _met_and_rinsed(writer: _Writer, bleach: Product, brightener: Product) -> None:
    _met(writer, bleach, brightener)
    writer.rinse(RINSED)


def _met(writer: _Writer, bleach: Product, brightener: Product) -> None:
    writer.pour(brightener, BRIGHTENED)
    writer.pour(bleach, BLEACHED, came=FOUND)


def _done_jobs(today: date) -> list[tuple[Job, date]]:
    """Three, newest first, each with the day of its visit."""
    rows = Job.objects.filter(state=JobState.DONE, visits__work_date__range=(today - SINCE, today - timedelta(days=1)))
    quiet = rows.filter(property__walls__isnull=False).exclude(
        property__jobs__state__in=(JobState.LEAD, JobState.ESTIMATED, JobState.AGREED, JobState.PLANNED)
    )
    found: dict[int, tuple[Job, date]] = {}
    for job in quiet.order_by("-visits__work_date", "-pk").distinct().select_related("property"):
        visit = job.visits.order_by("work_date").first()
        if visit is not None and len(found) < 3:
            found.setdefault(job.property_id, (job, visit.work_date))
    return list(found.values())
