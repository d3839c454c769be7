"""One solver process that waits with its code loaded, for answers that cannot wait a second for that.

Whoever may soon need one says `keep_ready()`; `ready_process()` then hands it over, and has the next one ready after
use. There is at most one in each process, only one user ever gets it, and it ends after IDLE_SECONDS without a call, or
with its parent (`child`).
"""

import atexit
import os
import subprocess
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress

from .child import DEFAULT_MEMORY_BYTES, SolverProcess, end_process, start_process

IDLE_SECONDS = 900.0


class Standby:
    """At most one loaded process, given to whoever asks first."""

    def __init__(self, *, memory_bytes: int = DEFAULT_MEMORY_BYTES, idle_seconds: float = IDLE_SECONDS):
        self._memory_bytes, self._idle_seconds = memory_bytes, idle_seconds
        self._lock = threading.Lock()
        self._waiting: subprocess.Popen[str] | None = None
        self._timer: threading.Timer | None = None

    def keep_ready(self) -> None:
        """Have one process waiting for another `idle_seconds`; does not wait until it is loaded."""
        with self._lock:
            if self._waiting is None or self._waiting.poll() is not None:
                self._end()
                self._waiting = start_process(self._memory_bytes)
            self._restart_timer()

    @contextmanager
    def process(self) -> Iterator[SolverProcess]:
        """The waiting process, or a new one where none waits; it is gone at the end of the block, and replaced."""
        child = self._take() or start_process(self._memory_bytes)
        try:
            yield SolverProcess(child)
        finally:
            end_process(child)
            with suppress(OSError):  # no memory or no more processes: the answer stands all the same
                self.keep_ready()

    def end(self) -> None:
        """Nothing waits any more."""
        with self._lock:
            self._end()

    def let_go(self) -> None:
        """In a forked copy: the waiting process is the parent's."""
        self._lock = threading.Lock()  # another thread may have held it while the process was forked
        self._waiting, self._timer = None, None

    def _take(self) -> "subprocess.Popen[str] | None":
        with self._lock:
            child, self._waiting = self._waiting, None
            self._stop_timer()
        if child is not None and child.poll() is not None:
            end_process(child)
            return None
        return child

    def _end(self) -> None:
        self._stop_timer()
        if self._waiting is not None:
            end_process(self._waiting)
            self._waiting = None

    def _restart_timer(self) -> None:
        self._stop_timer()
        self._timer = threading.Timer(self._idle_seconds, self.end)
        self._timer.daemon = True
        self._timer.start()

    def _stop_timer(self) -> None:
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None


_standby = Standby()
atexit.register(_standby.end)
os.register_at_fork(after_in_child=_standby.let_go)
keep_ready, ready_process, end = _standby.keep_ready, _standby.process, _standby.end
