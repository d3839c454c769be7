"""Changes to the firm's own settings."""

from typing import Any

from django.db import transaction

from shared.company.models import Company
from shared.company.selectors import company_get
from shared.events.services import event_record

FIELDS = frozenset((
    "name", "street", "city", "region", "postal_code", "country", "phone_e164", "email", "timezone", "currency",
    "wage_burden_percent", "reminder_lead_days", "reminder_gap_days",
))  # fmt: skip


@transaction.atomic
def company_update(*, actor: Any, **fields: Any) -> Company:
    """Change the given fields, those of FIELDS. The history names them, not their values.

    Raises ValidationError for a value that cannot be, TypeError for a field that does not exist.
    """
    unknown = fields.keys() - FIELDS
    if unknown:
        raise TypeError(f"The company has no {', '.join(sorted(unknown))}.")
    company = company_get()
    changed = [name for name, value in fields.items() if getattr(company, name) != value]
    for name in changed:
        setattr(company, name, fields[name])
    company.full_clean()
    if changed:
        company.save()
        event_record(kind="company.changed", subject=company, actor=actor, data={"fields": sorted(changed)})
    return company
