"""What was read, found and shown, and whether a job may be started."""

from jobs.walkthroughs.selectors.gate import Gate, start_gate, start_gates
from jobs.walkthroughs.selectors.readings import latest_readings, reading_list
from jobs.walkthroughs.selectors.walkthroughs import newest_findings

__all__ = ["Gate", "latest_readings", "newest_findings", "reading_list", "start_gate", "start_gates"]
