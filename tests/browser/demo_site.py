"""The demo company, served by the product itself in a process of its own: what the browser looks at."""

import os
import re
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
READY_WITHIN_SECONDS = 240
SIGN_IN = re.compile(r"^\s+(owner|office|crew lead)\s+(\S+)\s+(.+?)\s*$", re.M)


@dataclass(frozen=True)
class DemoSite:
    """`people` maps a role (owner, office, crew lead) to a sign-in name and a password."""

    address: str
    people: dict[str, tuple[str, str]]


def _read_until_ready(process: "subprocess.Popen[str]", log: Path) -> str:
    ends = time.monotonic() + READY_WITHIN_SECONDS
    while time.monotonic() < ends:
        text = log.read_text(encoding="utf-8")
        if "Ctrl-C" in text:
            return text
        if process.poll() is not None:
            break
        time.sleep(0.2)
    raise RuntimeError(f"The demo did not start:\n{log.read_text(encoding='utf-8')[-3000:]}")


@contextmanager
def demo_site(folder: Path, *, seconds: int = 1) -> Iterator[DemoSite]:
    """Make the demo company in `folder`, serve it on a free port, and end the process with the block."""
    log = folder / "demo.log"
    environment = os.environ | {"WALLDAY_DATA": str(folder), "DJANGO_SETTINGS_MODULE": "config.settings.embedded"}
    environment.pop("WALLDAY_DATABASE_URL", None)
    command = [sys.executable, "-u", "manage.py", "demo", "--port", "0", "--seconds", str(seconds)]
    with log.open("w", encoding="utf-8") as out:
        process = subprocess.Popen(command, cwd=ROOT, env=environment, stdout=out, stderr=out, text=True)
    try:
        text = _read_until_ready(process, log)
        address = re.search(r"http://127\.0\.0\.1:\d+", text).group(0)
        people: dict[str, tuple[str, str]] = {}
        for role, name, password in SIGN_IN.findall(text):
            people.setdefault(role, (name, password))
        yield DemoSite(address, people)
    finally:
        process.terminate()
        process.wait(timeout=30)
