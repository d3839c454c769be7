"""Processor time of this process and of the PostgreSQL server that works for it: whatever else the machine does, the
clock on the wall would show it. The server must be on this machine, and answer in one process (`answer_alone`)."""

import os
import time
from pathlib import Path

from django.db import connection


def answer_alone() -> None:
    """From here on the server makes each statement of our connection in one process, without helpers."""
    with connection.cursor() as cursor:
        cursor.execute("SET max_parallel_workers_per_gather = 0")


def seconds_used() -> float:
    """So far, by this process and by the server's process behind our connection where there is one."""
    if connection.vendor != "postgresql":
        return time.process_time()
    connection.ensure_connection()
    return time.process_time() + _used_by(connection.connection.info.backend_pid)


def _used_by(process: int) -> float:
    """Processor time of another process so far, in seconds; see proc(5). The finer figure where the kernel keeps it."""
    folder = Path(f"/proc/{process}")
    if (folder / "schedstat").exists():
        return int((folder / "schedstat").read_text().split()[0]) / 1e9
    fields = (folder / "stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")
