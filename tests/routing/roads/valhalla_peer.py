"""A real Valhalla on this machine: tiles built from an extract, its own service on a free port of 127.0.0.1.

The executables are those of the wheel `pyvalhalla`, unpacked into the folder that WALLDAY_TEST_VALHALLA names (its
wheels for newer Pythons hold them, and they need no Python):

    pip install --target FOLDER --no-deps --only-binary=:all: --python-version 3.12 \
        --platform manylinux_2_28_x86_64 pyvalhalla==3.9.1
"""

import importlib.util
import json
import os
import socket
import subprocess
import time
import urllib.error
import urllib.request
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import osmium
from osmium.osm.mutable import Node, Relation, Way

Point = tuple[float, float]
BUILD_SECONDS, START_SECONDS, ANSWER_SECONDS = 900, 60, 900
LONGEST_KM = 500_000.0
SEARCH = {"radius": 0, "minimum_reachability": 30, "search_cutoff": 300}


def valhalla_folder() -> Path | None:
    """Where the wheel is unpacked, None where it is missing."""
    named = os.environ.get("WALLDAY_TEST_VALHALLA")
    folder = Path(named) / "valhalla" if named else None
    return folder if folder and (folder / "bin" / "valhalla_service").exists() else None


@dataclass(frozen=True)
class Valhalla:
    """A service that answers; `build_seconds` is how long its tiles took, `process_id` that of the service."""

    url: str
    build_seconds: float
    process_id: int

    def matrix(self, points: Sequence[Point]) -> tuple[list[list[float | None]], list[list[float | None]]]:
        """Seconds and kilometres between all points; None where it finds no way."""
        places = [{"lat": lat, "lon": lon, **SEARCH} for lat, lon in points]
        body = {"sources": places, "targets": places, "costing": "auto", "verbose": False}
        answer = self._post("/sources_to_targets", body)["sources_to_targets"]
        return answer["durations"], answer["distances"]

    def seconds(self, start: Point, end: Point) -> float:
        """Seconds of one way, which keeps the turn rules even where its matrix lets a few pairs break them."""
        places = [{"lat": lat, "lon": lon, **SEARCH} for lat, lon in (start, end)]
        body = {"locations": places, "costing": "auto", "directions_type": "none"}
        return float(self._post("/route", body)["trip"]["summary"]["time"])

    def cpu_seconds(self) -> float:
        """Processor time that the service has used so far, in all its threads."""
        fields = Path(f"/proc/{self.process_id}/stat").read_text().rsplit(")", 1)[1].split()
        return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")

    def _post(self, path: str, body: dict[str, Any]) -> dict[str, Any]:
        request = urllib.request.Request(
            self.url + path, json.dumps(body).encode(), {"Content-Type": "application/json"}
        )
        with urllib.request.urlopen(request, timeout=ANSWER_SECONDS) as answer:
            found: dict[str, Any] = json.load(answer)
            return found


@contextmanager
def valhalla_running(folder: Path, extract: Path, work: Path) -> Iterator[Valhalla]:
    """Build tiles of the extract under `work`, run the service, end it afterwards."""
    port = _free_port()
    config = work / "valhalla.json"
    (work / "tiles").mkdir(parents=True, exist_ok=True)
    config.write_text(json.dumps(_config(folder, work / "tiles", port)))
    write_country(work / "country.osm.pbf")
    _run(folder, "valhalla_build_admins", config, work / "country.osm.pbf")
    began = time.perf_counter()
    _run(folder, "valhalla_build_tiles", config, extract)
    seconds = time.perf_counter() - began
    service = subprocess.Popen(
        [folder / "bin" / "valhalla_service", config, "1"], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    try:
        url = f"http://127.0.0.1:{port}"
        _wait_until_ready(url, service)
        yield Valhalla(url, seconds, service.pid)
    finally:
        service.terminate()
        try:
            service.wait(5)
        except subprocess.TimeoutExpired:
            service.kill()
            service.wait()


def _run(folder: Path, name: str, config: Path, extract: Path) -> None:
    done = subprocess.run(
        [folder / "bin" / name, "-c", config, extract], capture_output=True, timeout=BUILD_SECONDS, check=False
    )
    assert done.returncode == 0, (done.stdout + done.stderr).decode()[-2000:]


def write_country(path: Path) -> None:
    """A country as wide as half the world where traffic keeps right: without one Valhalla drives on the left."""
    corners = [(-170.0, 0.0), (170.0, 0.0), (170.0, 80.0), (-170.0, 80.0)]
    tags = {"type": "boundary", "boundary": "administrative", "admin_level": "2", "name": "Finland", "ISO3166-1": "FI"}
    with osmium.SimpleWriter(str(path), overwrite=True) as writer:
        for number, corner in enumerate(corners, start=1):
            writer.add_node(Node(id=number, location=corner))
        writer.add_way(Way(id=1, nodes=[1, 2, 3, 4, 1], tags={"boundary": "administrative", "admin_level": "2"}))
        writer.add_relation(Relation(id=1, members=[("w", 1, "outer")], tags=tags))


def _config(folder: Path, tiles: Path, port: int) -> dict[str, Any]:
    """The wheel's own defaults, on this machine only and without its limits."""
    spec = importlib.util.spec_from_file_location("valhalla_config", folder / "valhalla_build_config.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    config: dict[str, Any] = _without_optional(module.config, module.Optional)
    config["mjolnir"] |= {
        "tile_dir": str(tiles),
        "tile_extract": "",
        "concurrency": 2,
        "admin": str(tiles.parent / "admin.sqlite"),
    }
    config["httpd"]["service"] |= {
        "listen": f"tcp://127.0.0.1:{port}", "drain_seconds": 1, "shutdown_seconds": 1,
        "loopback": f"ipc://{tiles}/loopback", "interrupt": f"ipc://{tiles}/interrupt",
    }  # fmt: skip
    for name in ("loki", "thor", "odin"):
        config[name].setdefault("service", {})["proxy"] = f"ipc://{tiles}/{name}"
    limits = config["service_limits"]["auto"]
    limits |= {"max_matrix_distance": LONGEST_KM * 1000, "max_matrix_location_pairs": 1_000_000}
    return config


def _without_optional(values: Any, optional: type) -> Any:
    if not isinstance(values, dict):
        return values
    return {key: _without_optional(value, optional) for key, value in values.items() if not isinstance(value, optional)}


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


def _wait_until_ready(url: str, service: "subprocess.Popen[bytes]") -> None:
    end = time.monotonic() + START_SECONDS
    while time.monotonic() < end:
        assert service.poll() is None, "Valhalla's service ended by itself"
        try:
            with urllib.request.urlopen(f"{url}/status", timeout=1):
                return
        except (urllib.error.URLError, OSError):
            time.sleep(0.1)
    raise AssertionError(f"Valhalla did not answer within {START_SECONDS} s")
