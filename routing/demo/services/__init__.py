"""The demo's rows: a whole invented company in one transaction, made once."""

from routing.demo.services.bring_forward import open_jobs_bring_forward
from routing.demo.services.make import DemoCounts, demo_company_make, demo_truth

__all__ = ["DemoCounts", "demo_company_make", "demo_truth", "open_jobs_bring_forward"]
