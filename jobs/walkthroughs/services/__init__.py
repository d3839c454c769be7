"""Chalk readings, walkthroughs with their pictures, condition notices and how they are settled."""

from jobs.walkthroughs.services.notices import (
    notice_acknowledge,
    notice_make,
    notice_send,
    print_pdf,
    record_read,
    start_override,
)
from jobs.walkthroughs.services.offline import acknowledge_offline, difference_settle, nobody_home_offline
from jobs.walkthroughs.services.photos import photo_add
from jobs.walkthroughs.services.readings import reading_record
from jobs.walkthroughs.services.recording import walkthrough_record
from jobs.walkthroughs.services.removal import removal_open

__all__ = [
    "acknowledge_offline",
    "difference_settle",
    "nobody_home_offline",
    "notice_acknowledge",
    "notice_make",
    "notice_send",
    "photo_add",
    "print_pdf",
    "reading_record",
    "record_read",
    "removal_open",
    "start_override",
    "walkthrough_record",
]
