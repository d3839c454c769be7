"""What can be done to a job. `jobs` moves it through its states, `visits` books what really happened."""

from jobs.work.inputs import LineTerms, NewLine, NewWindow
from jobs.work.services.corrections import refund_record, visit_correct
from jobs.work.services.jobs import (
    job_agree,
    job_arrive,
    job_call_off,
    job_create,
    job_decline,
    job_estimate,
    job_mark_agreed_again,
    job_mark_planned,
    job_windows_set,
)
from jobs.work.services.pouring import product_pour, rinse_confirm, step_mark, wall_rinse
from jobs.work.services.terms import job_conditions_set, job_terms_set, return_visit_create
from jobs.work.services.visits import visit_record

__all__ = [
    "LineTerms",
    "NewLine",
    "NewWindow",
    "job_agree",
    "job_arrive",
    "job_call_off",
    "job_conditions_set",
    "job_create",
    "job_decline",
    "job_estimate",
    "job_mark_agreed_again",
    "job_mark_planned",
    "job_terms_set",
    "job_windows_set",
    "product_pour",
    "refund_record",
    "return_visit_create",
    "rinse_confirm",
    "step_mark",
    "visit_correct",
    "visit_record",
    "wall_rinse",
]
