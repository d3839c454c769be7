"""Fill in the facts of jobs that were booked before the ledger kept them, as far as they can still be known.

Storeys, city, part of town and source are those of today, whether a customer was new follows from the dates of the
visits, and how hours were shared from what was booked. Each such line says that its facts were added later.
"""

from collections import defaultdict
from typing import Any

from django.db import migrations
from django.db.models import Avg, Min

from jobs.work.domain.town_parts import town_part
from pricing.earnings.domain.facts import hours_shared
from shared.events.append_only import append_only_trigger

LEDGER = "earnings_earningentry"
BATCH = 500
NAMES = ["storeys", "city", "town_part", "lead_source", "is_returning", "hours_shared", "facts_added_later"]


def fill_in(apps: Any, editor: Any) -> None:
    entry_model = apps.get_model("earnings", "EarningEntry")
    jobs = {job.pk: job for job in apps.get_model("work", "Job").objects.select_related("property__customer")}
    centres, firsts, shared = _centres(apps), _first_visits(apps), _hours_shared(apps)
    wanted = entry_model.objects.filter(kind__in=("work", "callback"), job_ref__in=jobs)
    entries = []
    for entry in wanted.order_by("pk").iterator(BATCH):
        _fill(entry, jobs[entry.job_ref], centres, firsts)
        entry.hours_shared = shared.get(entry.line_ref, "")
        entries.append(entry)
    entry_model.objects.bulk_update(entries, NAMES, batch_size=BATCH)


def _fill(entry: Any, job: Any, centres: dict[str, tuple[float, float]], firsts: dict[int, Any]) -> None:
    place = job.property
    first = firsts.get(place.customer_id)
    entry.storeys, entry.city = place.storeys, place.city
    entry.lead_source = job.source or place.customer.source
    if place.latitude is not None:
        entry.town_part = town_part((place.latitude, place.longitude), centres[place.city])
    if entry.kind == "work" and first is not None:
        entry.is_returning = first < entry.work_date
    entry.facts_added_later = True


def _centres(apps: Any) -> dict[str, tuple[float, float]]:
    located = apps.get_model("customers", "Property").objects.filter(latitude__isnull=False)
    rows = located.order_by("city").values("city").annotate(lat=Avg("latitude"), lon=Avg("longitude"))
    return {row["city"]: (row["lat"], row["lon"]) for row in rows}


def _first_visits(apps: Any) -> dict[int, Any]:
    visits = apps.get_model("work", "Visit").objects.order_by("job__property__customer")
    return dict(visits.values_list("job__property__customer").annotate(first=Min("work_date")))


def _hours_shared(apps: Any) -> dict[int, str]:
    """By job line, from the minutes booked on its first visit."""
    lines: dict[int, list[Any]] = defaultdict(list)
    for line in apps.get_model("work", "VisitLine").objects.filter(visit__corrects=None).order_by("visit", "pk"):
        lines[line.visit_id].append(line)
    return {
        line.job_line_id: hours_shared([each.minutes for each in of_visit])
        for of_visit in lines.values()
        for line in of_visit
        if line.job_line_id
    }


def let_change(apps: Any, editor: Any) -> None:
    """The one time that the ledger is written to again; the last step closes it."""
    if editor.connection.vendor == "sqlite":
        editor.execute(f"DROP TRIGGER IF EXISTS {LEDGER}_append_only")
    else:
        editor.execute(f"DROP FUNCTION IF EXISTS {LEDGER}_append_only() CASCADE")


class Migration(migrations.Migration):
    dependencies = [
        ("work", "0002_poured_and_steps"),
        ("customers", "0001_initial"),
        ("earnings", "0002_facts_of_the_job"),
    ]

    operations = [
        migrations.RunPython(let_change, migrations.RunPython.noop),
        migrations.RunPython(fill_in, migrations.RunPython.noop),
        append_only_trigger(LEDGER),
    ]
