"""Chalk readings, walkthroughs with their pictures, condition notices and how they are settled."""

from jobs.walkthroughs.services.readings import reading_record

__all__ = ["reading_record"]
