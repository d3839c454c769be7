from collections.abc import Iterable
from datetime import date

from jobs.customers.models import Property
from jobs.work.domain.intervals import next_due
from jobs.work.models import ServiceInterval
from pricing.catalogue.models import Service


def intervals_move(*, property: Property, services: Iterable[Service], done_on: date) -> None:
    """Note that `services` were done, inside the caller's transaction: their next due date follows.

    A property whose interval was set apart from the usual keeps its own. Work booked late, with newer work on record,
    moves nothing back. A service without a usual interval gets none.
    """
    rows = {row.service_id: row for row in ServiceInterval.objects.filter(property=property)}
    for service in {service.pk: service for service in services}.values():
        row = rows.get(service.pk) or _first_interval(property, service)
        if row and (row.last_done_on is None or row.last_done_on <= done_on):
            row.last_done_on = done_on
            row.next_due_on = next_due(done_on, row.interval_months)
            row.save()


def _first_interval(property: Property, service: Service) -> ServiceInterval | None:
    if service.interval_months is None:
        return None
    return ServiceInterval(property=property, service=service, interval_months=service.interval_months)
