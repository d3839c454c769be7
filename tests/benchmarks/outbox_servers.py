"""Servers and worker processes of a program's own, to be killed at will: nothing here touches those of the machine."""

import os
import pwd
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PATIENCE_SECONDS = 90


def missing_programs() -> list[str]:
    """Names of the server programs that are not on this machine."""
    absent = [] if _postgres_programs() else ["PostgreSQL"]
    return absent + ([] if shutil.which("redis-server") else ["Redis"])


def _postgres_programs() -> Path | None:
    """The folder with `initdb` and `pg_ctl`: Debian keeps it off the path, one for each version."""
    on_path = shutil.which("pg_ctl")
    found = [Path(on_path).parent] if on_path else sorted(Path("/usr/lib/postgresql").glob("*/bin"), reverse=True)
    return next((folder for folder in found if (folder / "initdb").exists()), None)


def free_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as listener:
        return int(listener.getsockname()[1])


def wait_for(come_true: Callable[[], bool], what: str) -> None:
    """Raises TimeoutError where it takes too long."""
    deadline = time.monotonic() + PATIENCE_SECONDS
    while not come_true():
        if time.monotonic() > deadline:
            raise TimeoutError(f"Waited too long for {what}.")
        time.sleep(0.05)


class Postgres:
    """A cluster in a folder of its own. It writes no disk to the end: what is tested is the death of processes."""

    def __init__(self, folder: Path) -> None:
        programs = _postgres_programs()
        assert programs is not None
        self.programs, self.folder, self.port = programs, folder, free_port()
        self.user = self._unprivileged()
        folder.mkdir()
        if self.user:
            shutil.chown(folder, self.user)
        self._run("initdb", "-D", str(folder / "db"), "-A", "trust", "-N", "-U", "wallday")
        self.start()

    @property
    def url(self) -> str:
        return f"postgres://wallday@127.0.0.1:{self.port}/postgres"

    def start(self) -> None:
        options = f"-p {self.port} -c listen_addresses=127.0.0.1 -c unix_socket_directories={self.folder} -c fsync=off"
        self._control("start", "-l", str(self.folder / "log"), "-o", options)

    def stop(self, *, rudely: bool) -> None:
        """`rudely`: every process is ended on the spot, and the next start recovers as after a crash."""
        self._control("stop", "-m", "immediate" if rudely else "fast")

    def _control(self, *arguments: str) -> None:
        self._run("pg_ctl", "-D", str(self.folder / "db"), "-w", *arguments)

    def _run(self, program: str, *arguments: str) -> None:
        """The server refuses to run as root."""
        subprocess.run(
            [self.programs / program, *arguments], check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
            cwd=self.folder, user=self.user, group=self.user and pwd.getpwnam(self.user).pw_gid,
            extra_groups=[] if self.user else None,
        )  # fmt: skip

    @staticmethod
    def _unprivileged() -> str | None:
        if os.getuid() != 0:
            return None
        known = {entry.pw_name for entry in pwd.getpwall()}
        return next(name for name in ("postgres", "nobody") if name in known)


class Redis:
    """A broker that forgets everything when it stops."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.port = folder, free_port()
        self.start()

    @property
    def url(self) -> str:
        return f"redis://127.0.0.1:{self.port}/0"

    def start(self) -> None:
        command = ["redis-server", "--port", str(self.port), "--bind", "127.0.0.1", "--save", "", "--appendonly", "no"]
        self.process = subprocess.Popen([*command, "--dir", str(self.folder)], stdout=subprocess.DEVNULL)
        wait_for(self._answers, "Redis")

    def stop(self) -> None:
        self.process.kill()
        self.process.wait(PATIENCE_SECONDS)

    def _answers(self) -> bool:
        with suppress(OSError), socket.create_connection(("127.0.0.1", self.port), 1) as line:
            line.sendall(b"PING\r\n")
            return line.recv(7) == b"+PONG\r\n"
        return False


class Worker:
    """A worker as the full set-up runs it: one process that hands out tasks, two that do them."""

    def __init__(self, number: int, env: Mapping[str, str], log: Path) -> None:
        name = f"faults-{number}-{os.getpid()}@127.0.0.1"
        self.command = [sys.executable, "-m", "celery", "-A", "config.celery", "worker", "--concurrency", "2"]
        self.command += ["--loglevel", "INFO", "--hostname", name, "--without-gossip", "--without-mingle"]
        self.env, self.log = env, log
        self.log.touch()
        self.start()

    def start(self) -> None:
        self.ready_before = self._times_ready()
        with self.log.open("a") as out:
            self.process = subprocess.Popen(
                self.command, env=dict(self.env), cwd=ROOT, stdout=out, stderr=out, start_new_session=True
            )

    def is_ready(self) -> bool:
        return self._times_ready() > self.ready_before and len(self.hands()) == 2

    def start_again_if_ended(self) -> None:
        """As a service manager does it: a worker ends by itself where its processes are killed while they start."""
        if self.process.poll() is not None:
            self.start()

    def _times_ready(self) -> int:
        return self.log.read_text().count(" ready.")

    def hands(self) -> list[int]:
        """The processes that do tasks."""
        with suppress(OSError):
            children = Path(f"/proc/{self.process.pid}/task/{self.process.pid}/children").read_text()
            return [int(pid) for pid in children.split()]
        return []

    def kill_hand(self, pid: int) -> None:
        with suppress(ProcessLookupError):
            os.kill(pid, signal.SIGKILL)

    def kill_all(self) -> None:
        os.killpg(self.process.pid, signal.SIGKILL)
        self.process.wait(PATIENCE_SECONDS)

    def end(self) -> None:
        """As a service manager does it; what still runs after a while is killed."""
        self.process.terminate()
        try:
            self.process.wait(PATIENCE_SECONDS)
        except subprocess.TimeoutExpired:
            self.kill_all()


@contextmanager
def folder_of_our_own() -> Iterator[Path]:
    """A folder that a server under another user may enter; removed at the end."""
    folder = Path(tempfile.mkdtemp(prefix="wallday-faults-"))
    folder.chmod(0o755)
    try:
        yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)
