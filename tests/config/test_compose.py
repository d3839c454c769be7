"""docker-compose.yml: parsed, and held against the settings that it names; its routing server made and asked.

No container runs here: what the containers would run is run on this machine.
"""

import json
import os
import re
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest
import yaml

from routing.roads.services.server import AT_ONCE, RoadServer
from tests.conftest import missing
from tests.routing.roads.land import write_land
from tests.routing.roads.valhalla_peer import valhalla_folder

ROOT = Path(__file__).parents[2]
TEXT = (ROOT / "docker-compose.yml").read_text(encoding="utf-8")
COMPOSE: dict[str, Any] = yaml.safe_load(TEXT)
SERVICES: dict[str, dict[str, Any]] = COMPOSE["services"]
EXAMPLE = (ROOT / ".env.example").read_text(encoding="utf-8")
SCRIPT = ROOT / "config" / "valhalla_tiles.sh"
VERSION = re.compile(r"pyvalhalla==([\d.]+)")
ONE_SHOT = {"valhalla-tiles"}


def test_every_variable_is_explained() -> None:
    """What the file takes from .env, and what it sets itself, stands in .env.example or names the settings module."""
    named = set(re.findall(r"\$\{(\w+)", TEXT))
    for service in SERVICES.values():
        named |= set(service.get("environment", {}))
    ours = {name for name in named if name.startswith("WALLDAY_")}
    assert {"WALLDAY_EXTRACT", "WALLDAY_EXTRACT_FOLDER", "WALLDAY_DATABASE_URL"} <= ours
    assert sorted(name for name in ours if f"{name}=" not in EXAMPLE) == []


def test_services_that_run_say_how_they_are() -> None:
    """Each has a healthcheck and comes up again; what they wait for exists; each named volume is declared."""
    for name, service in SERVICES.items():
        if name not in ONE_SHOT:
            assert service["healthcheck"]["test"][0] in ("CMD", "CMD-SHELL"), name
            assert service["restart"] == "unless-stopped", name
        assert set(service.get("depends_on", {})) <= set(SERVICES), name
        mounted = {volume.split(":")[0] for volume in service.get("volumes", []) if not volume.startswith("$")}
        assert mounted <= set(COMPOSE["volumes"]), name


def test_the_routing_server_is_a_choice() -> None:
    """It and its tiles stand in a profile; nothing else waits for them, since the extract answers where it fails."""
    optional = {name for name, service in SERVICES.items() if service.get("profiles") == ["valhalla"]}
    assert optional == {"valhalla", "valhalla-tiles"}
    for name, service in SERVICES.items():
        assert name in optional or not optional & set(service.get("depends_on", {})), name
    assert SERVICES["valhalla"]["depends_on"] == {"valhalla-tiles": {"condition": "service_completed_successfully"}}


def test_the_setting_points_to_the_service() -> None:
    """The address in .env.example is the service's name and the port that it listens on and is asked for its health."""
    (address,) = re.findall(r"#WALLDAY_ROADS_URL=(\S+)", EXAMPLE)
    parts = urlsplit(address)
    assert (parts.hostname, parts.path) == ("valhalla", "")
    assert "#WALLDAY_ROADS_KIND=valhalla" in EXAMPLE
    assert f'"tcp://*:{parts.port}"' in SCRIPT.read_text(encoding="utf-8")
    assert f":{parts.port}/status" in str(SERVICES["valhalla"]["healthcheck"]["test"])


def test_both_read_the_same_extract() -> None:
    """The folder of the extract is mounted at one place, for reading only, and by default is the one of the example."""
    (folder,) = re.findall(r"#WALLDAY_EXTRACT_FOLDER=(\S+)", EXAMPLE)
    (name,) = re.findall(r"#WALLDAY_EXTRACT=(\S+)", EXAMPLE)
    mount = f"${{WALLDAY_EXTRACT_FOLDER:-{folder}}}:/extract:ro"
    for service in ("web", "worker", "beat", "valhalla", "valhalla-tiles"):
        assert mount in SERVICES[service]["volumes"], service
    assert SERVICES["valhalla-tiles"]["command"][2] == f"/extract/${{WALLDAY_EXTRACT:-{name}}}"


def test_it_is_the_version_that_is_tested() -> None:
    """CI compares our drive times with the same one; the script that is copied exists."""
    build = SERVICES["valhalla"]["build"]["dockerfile_inline"]
    assert VERSION.findall(build) == VERSION.findall((ROOT / ".ci" / "run").read_text(encoding="utf-8"))
    (source, target) = re.findall(r"^COPY (\S+) (\S+)$", build, re.MULTILINE)[0]
    assert (ROOT / source) == SCRIPT
    assert SERVICES["valhalla-tiles"]["command"][1] == target


@pytest.fixture
def programs(tmp_path: Path) -> dict[str, str]:
    """An environment in which the wheel's programs are found, as in the container."""
    folder = valhalla_folder()
    if folder is None:
        missing("Valhalla (WALLDAY_TEST_VALHALLA)")
    shims = tmp_path / "shims"
    shims.mkdir()
    shim = shims / "valhalla_build_config"
    shim.write_text(f'#!/bin/sh\nexec "{sys.executable}" "{folder}/valhalla_build_config.py" "$@"\n')
    shim.chmod(0o755)
    return {**os.environ, "PATH": os.pathsep.join([str(folder / "bin"), str(shims), os.environ["PATH"]])}


def make_tiles(extract: Path, folder: Path, programs: dict[str, str]) -> "subprocess.CompletedProcess[str]":
    return subprocess.run(
        ["sh", SCRIPT, extract, folder], env=programs, capture_output=True, text=True, check=False, timeout=120
    )


@pytest.fixture
def service(tmp_path: Path, programs: dict[str, str]) -> Iterator[str]:
    """The address of the service, made and started as the containers do it, but for the port."""
    write_land(tmp_path / "land.osm.pbf", crossings=400)
    made = make_tiles(tmp_path / "land.osm.pbf", tmp_path / "tiles", programs)
    assert made.returncode == 0, made.stdout + made.stderr
    settings = tmp_path / "tiles" / "valhalla.json"
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    here = json.loads(settings.read_text())
    assert here["httpd"]["service"]["listen"] == "tcp://*:8002"
    assert here["service_limits"]["auto"]["max_matrix_location_pairs"] >= AT_ONCE**2
    here["httpd"]["service"] |= {"listen": f"tcp://127.0.0.1:{port}"}
    here["httpd"]["service"] |= {name: f"ipc://{tmp_path}/{name}" for name in ("loopback", "interrupt")}
    for name in ("loki", "thor", "odin", "meili"):
        here[name]["service"]["proxy"] = f"ipc://{tmp_path}/{name}"
    settings.write_text(json.dumps(here))
    program, _settings, threads = SERVICES["valhalla"]["command"]
    process = subprocess.Popen(
        [program, settings, threads], env=programs, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    try:
        yield _answering(f"http://127.0.0.1:{port}", process)
    finally:
        process.terminate()
        process.wait(30)


def _answering(url: str, process: "subprocess.Popen[bytes]") -> str:
    for _try in range(300):
        assert process.poll() is None, "the service ended by itself"
        try:
            with urllib.request.urlopen(f"{url}/status", timeout=3):
                return url
        except (urllib.error.URLError, OSError):
            time.sleep(0.1)
    raise AssertionError("the service does not answer")


def test_its_tiles_answer_our_requests(service: str, tmp_path: Path, programs: dict[str, str]) -> None:
    """The product gets a table from it; a second start keeps the tiles; a lost extract leaves them where they are."""
    points = [(40.002, -99.998), (40.01, -99.99), (40.02, -99.985)]
    table = RoadServer("valhalla", service).table(points)
    assert table.source == "routing server (valhalla)"
    assert all(cell for a, row in enumerate(table.minutes) for b, cell in enumerate(row) if a != b)
    tiles = tmp_path / "tiles"
    before = {path: path.stat().st_mtime_ns for path in tiles.rglob("*.gph")}
    assert before
    again = make_tiles(tmp_path / "land.osm.pbf", tiles, programs)
    assert (again.returncode, again.stdout.strip()[:9]) == (0, "The tiles")
    lost = make_tiles(tmp_path / "gone.osm.pbf", tiles, programs)
    assert lost.returncode == 1
    assert "WALLDAY_EXTRACT" in lost.stderr
    assert {path: path.stat().st_mtime_ns for path in tiles.rglob("*.gph")} == before


def test_a_broken_extract_keeps_the_old_tiles(service: str, tmp_path: Path, programs: dict[str, str]) -> None:
    """The one-shot container fails, and the service still has what it had."""
    bad = tmp_path / "bad.osm.pbf"
    bad.write_bytes((tmp_path / "land.osm.pbf").read_bytes()[:700])
    before = sorted((tmp_path / "tiles" / "tiles").rglob("*.gph"))
    assert make_tiles(bad, tmp_path / "tiles", programs).returncode != 0
    assert sorted((tmp_path / "tiles" / "tiles").rglob("*.gph")) == before != []
