"""Where compiled code is kept, and whether it is there already.

The first use on a machine compiles the kernels, which takes some seconds; every later process loads
them. The code goes under `numba/` in the folder for everything that is written: `var/` in the checkout
unless WALLDAY_DATA names another; NUMBA_CACHE_DIR overrides both. Each version of the kernels has a folder
of its own, since the compiler looks at one file's time and size only: it would miss a change in a function
that the file calls, and compile again, unannounced, where a file was only copied.

`warm_up` compiles everything and leaves a marker. A solve that finds no marker starts it in a process
beside itself, and goes on with what needs no compiling until it is ready.
"""

import fcntl
import hashlib
import os
import subprocess
import sys
import tempfile
from importlib.metadata import version
from pathlib import Path

HERE = Path(__file__).resolve().parent
KERNELS = ("model.py", "compiled.py", "search_kernel.py", "bounds_kernel.py", "pricing_kernel.py")


def choose_cache_folder() -> None:
    """Point the compiler at our folder, before it is first imported."""
    if "NUMBA_CACHE_DIR" in os.environ:
        Path(os.environ["NUMBA_CACHE_DIR"]).mkdir(parents=True, exist_ok=True)
        return
    data = os.environ.get("WALLDAY_DATA")
    root = Path(data).expanduser() if data else HERE.parents[1] / "var"
    folder = root.resolve() / "numba" / _version()
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError:
        folder = Path(tempfile.gettempdir()) / f"wallday-numba-{os.getuid()}" / _version()
        folder.mkdir(parents=True, exist_ok=True)
    os.environ["NUMBA_CACHE_DIR"] = str(folder)


def is_warm() -> bool:
    """Whether this version of the kernels has been compiled here."""
    return _marker().exists()


def load_compiled() -> None:
    """Load what has been compiled here, so that the first search need not wait for it (about a second)."""
    if is_warm():
        from .warm_day import solve_everything_once

        solve_everything_once()


def start_warming() -> "subprocess.Popen[bytes]":
    """Compile in a process of its own, which ends by itself."""
    return subprocess.Popen(  # noqa: S603 - our own module, no shell
        [sys.executable, "-c", "from routing.solver import warm_up; warm_up()"],
        cwd=HERE.parents[1],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )


def warm_up() -> None:
    """Compile everything now (about 20 seconds), or return at once where that is done."""
    with (_marker().parent / "compiling").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)  # a second process waits for the first one's work
        if not is_warm():
            from .warm_day import solve_everything_once

            solve_everything_once()
            _marker().touch()


def _marker() -> Path:
    return Path(os.environ["NUMBA_CACHE_DIR"]) / f"ready-{_version()}"


def _version() -> str:
    """Stands for the compiler, the interpreter and the kernels, as they are and where they are."""
    digest = hashlib.sha256(f"{version('numba')} {sys.version} {HERE}".encode())
    for name in KERNELS:
        digest.update(str((HERE / name).stat().st_mtime_ns).encode())
        digest.update((HERE / name).read_bytes())
    return digest.hexdigest()[:16]
