"""Changes to customers, properties and walls; their import and export."""

from .exporting import export_customers, export_jobs
from .finding import Found, place_find, place_find_later, place_take, places_find
from .importing import ImportReport, RefusedRow
from .imports import import_customers, import_jobs
from .merging import MergePlan, customer_merge, customers_tell_apart, merge_plan
from .one_house import OneHousePlan, one_house, one_house_plan
from .preview import FIELDS, Preview, import_columns, import_file, import_preview
from .records import (
    consent_record,
    customer_create,
    customer_update,
    property_create,
    property_update,
    wall_create,
    wall_update,
)
from .uploads import (
    corrections_path,
    report_keep,
    report_kept,
    token_new,
    upload_delete,
    upload_open,
    upload_store,
    uploads_sweep,
)

__all__ = [
    "FIELDS",
    "Found",
    "ImportReport",
    "MergePlan",
    "OneHousePlan",
    "Preview",
    "RefusedRow",
    "consent_record",
    "corrections_path",
    "customer_create",
    "customer_merge",
    "customer_update",
    "customers_tell_apart",
    "export_customers",
    "export_jobs",
    "import_columns",
    "import_customers",
    "import_file",
    "import_jobs",
    "import_preview",
    "one_house",
    "one_house_plan",
    "place_find",
    "place_find_later",
    "place_take",
    "merge_plan",
    "places_find",
    "property_create",
    "property_update",
    "report_keep",
    "report_kept",
    "token_new",
    "upload_delete",
    "upload_open",
    "upload_store",
    "uploads_sweep",
    "wall_create",
    "wall_update",
]
