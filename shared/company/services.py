"""Changes to the firm's own settings."""

from typing import Any

from django.db import transaction

from shared.company.models import Company
from shared.company.selectors import company_get
from shared.events.services import fields_change

FIELDS = frozenset((
    "name", "street", "city", "region", "postal_code", "country", "phone_e164", "email", "timezone", "currency",
    "wage_burden_percent", "reminder_lead_days", "reminder_gap_days",
))  # fmt: skip


@transaction.atomic
def company_update(*, actor: Any, **fields: Any) -> Company:
    """Change the given fields, those of FIELDS. The history names them, not their values.

    Raises ValidationError for a value that cannot be, TypeError for a field that does not exist.
    """
    company = company_get()
    fields_change(row=company, fields=fields, allowed=FIELDS, kind="company.changed", actor=actor)
    return company
