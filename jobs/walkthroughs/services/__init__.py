"""Chalk readings, walkthroughs with their pictures, condition notices and how they are settled."""

from jobs.walkthroughs.services.notices import (
    notice_acknowledge,
    notice_make,
    notice_send,
    print_pdf,
    start_override,
)
from jobs.walkthroughs.services.photos import photo_add
from jobs.walkthroughs.services.readings import reading_record
from jobs.walkthroughs.services.recording import walkthrough_record

__all__ = [
    "notice_acknowledge",
    "notice_make",
    "notice_send",
    "photo_add",
    "print_pdf",
    "reading_record",
    "start_override",
    "walkthrough_record",
]
