"""Messages while workers are killed, Redis forgets, the database crashes and the other ends misbehave: a short run.

The long one is the program itself; both judge by what the stand-ins were handed.
"""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.benchmarks.outbox_servers import missing_programs
from tests.conftest import missing

pytestmark = pytest.mark.services
ROOT = Path(__file__).resolve().parents[2]
PATIENCE_SECONDS = 300


def test_no_promise_is_broken_while_everything_breaks() -> None:
    """Nothing lost, nothing twice, all unknowns shown, nobody written to who must not be; and much was done."""
    absent = missing_programs()
    if absent:
        missing(" and ".join(absent))
    done = subprocess.run(
        [sys.executable, "-m", "tests.benchmarks.outbox_faults", "--quick"],
        cwd=ROOT, env={**os.environ, "PYTHONPATH": str(ROOT)}, capture_output=True, text=True, timeout=PATIENCE_SECONDS,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout[-4000:] + done.stderr[-4000:]
    cells = [[cell.strip() for cell in line.split("|")[1:-1]] for line in done.stdout.splitlines() if line[:2] == "| "]
    table = {name: int(number) for name, number in cells if number.isdigit()}
    assert table["processes killed"] >= 10
    assert min(table["Redis stopped and started, empty"], table["database restarted"], table["sent"]) >= 1
    assert table["lost"] == table["unknown and not shown"] == 0
