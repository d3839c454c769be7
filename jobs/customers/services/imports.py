"""The two imports as one call each."""

from collections.abc import Mapping
from datetime import datetime
from pathlib import Path
from typing import Any, BinaryIO

from jobs.customers.domain.dates import DateOrder
from shared import clock
from shared.company.selectors import company_get

from .customers_import import CustomersImporter
from .importing import ImportReport, Progress, run_import
from .jobs_import import JobsImporter


def import_customers(
    file: BinaryIO,
    *,
    mapping: Mapping[str, str] | None = None,
    dry_run: bool,
    actor: Any,
    corrections: Path | None = None,
    progress: Progress | None = None,
    now: datetime | None = None,
) -> ImportReport:
    """Take in a customers' file (CSV or XLSX): customers, their properties, siding and consent.

    A row is matched by reference, else by two facts that agree (name, number, mail, street); a row that says the
    same as what is stored changes nothing, an empty cell never erases. `mapping` goes from headings to our fields.
    Refused rows are written to `corrections`. Raises UnreadableFile.
    """
    importer = CustomersImporter(company=company_get(), actor=actor, now=now or clock.now())
    return run_import(
        file,
        importer,
        mapping=mapping,
        date_order=None,
        dry_run=dry_run,
        corrections=corrections,
        progress=progress,
    )


def import_jobs(
    file: BinaryIO,
    *,
    mapping: Mapping[str, str] | None = None,
    date_order: DateOrder | None = None,
    dry_run: bool,
    actor: Any,
    corrections: Path | None = None,
    progress: Progress | None = None,
    now: datetime | None = None,
) -> ImportReport:
    """Take in a jobs' file: open jobs with their possible days, and the service history with its dates.

    Customers and properties must be known. Work that is in the history is never changed by an import. Rows of one
    job (same reference) are its lines; those of a job that is done must follow each other. Raises UnreadableFile.
    """
    company, moment = company_get(), now or clock.now()
    importer = JobsImporter(company=company, actor=actor, now=moment, today=clock.local_date(company.timezone, moment))
    return run_import(
        file,
        importer,
        mapping=mapping,
        date_order=date_order,
        dry_run=dry_run,
        corrections=corrections,
        progress=progress,
    )
