from datetime import date
from typing import Any

from django.db import transaction

from pricing.costs.models import Worker, WorkerTerms
from shared.events.services import event_record


@transaction.atomic
def worker_terms_set(
    *,
    name: str,
    effective_from: date,
    crew_code: str,
    cents_per_hour: int,
    burden_percent: int | None = None,
    actor: Any = None,
) -> WorkerTerms:
    """Set a worker's crew and wage from a day on; a name that is new is a new worker.

    The same day again replaces what was said for that day; what was booked before stays as it was booked. The
    history says that wages were set, never how high. Raises ``ValidationError``.
    """
    worker = Worker.objects.filter(name=name.strip()).first() or Worker(name=name.strip())
    worker.full_clean(validate_unique=worker.pk is None)
    worker.save()
    terms = WorkerTerms.objects.filter(worker=worker, effective_from=effective_from).first()
    terms = terms or WorkerTerms(worker=worker, effective_from=effective_from)
    terms.crew_code, terms.cents_per_hour, terms.burden_percent = crew_code.strip(), cents_per_hour, burden_percent
    terms.full_clean()
    terms.save()
    event_record(kind="worker.terms_set", subject=worker, actor=actor, data={"from": effective_from.isoformat()})
    return terms
