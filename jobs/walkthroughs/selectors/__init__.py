"""What was read, found and shown, and whether a job may be started."""

from jobs.walkthroughs.selectors.readings import latest_readings, reading_list

__all__ = ["latest_readings", "reading_list"]
