"""What other rooms hand in when work is booked."""

from dataclasses import dataclass
from datetime import date

from pricing.minutes.domain.features import JobFeatures


@dataclass(frozen=True, slots=True)
class LineBooking:
    """One line as it was done; ``features`` name its service and crew. Minutes are those of ``workers``."""

    line_ref: int
    job_ref: int
    work_date: date
    features: JobFeatures
    on_site_minutes: int
    workers: int = 2
    lines_sharing: int = 1
