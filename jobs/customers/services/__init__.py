"""Changes to customers, properties and walls; their import and export."""

from .exporting import export_customers, export_jobs
from .importing import ImportReport, RefusedRow
from .imports import import_customers, import_jobs
from .records import (
    consent_record,
    customer_create,
    customer_update,
    property_create,
    property_update,
    wall_create,
    wall_update,
)
from .uploads import upload_delete, upload_open, upload_store, uploads_sweep

__all__ = [
    "ImportReport",
    "RefusedRow",
    "consent_record",
    "customer_create",
    "customer_update",
    "export_customers",
    "export_jobs",
    "import_customers",
    "import_jobs",
    "property_create",
    "property_update",
    "upload_delete",
    "upload_open",
    "upload_store",
    "uploads_sweep",
    "wall_create",
    "wall_update",
]
