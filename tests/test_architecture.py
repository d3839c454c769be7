"""Imports go one way. The rooms and the order are those of DEVELOPERS.md."""

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
APPS = ["shared", "pricing", "jobs", "routing"]
EDGES = {
    "views",
    "api",
    "forms",
    "admin",
    "urls",
    "tasks",
    "management",
    "apps",
    "migrations",
    "context",
    "middleware",
}
# An edge as a whole: the demo company is put together from every room.
EDGE_ROOMS = {("routing", "demo")}
DOMAIN_MAY_IMPORT = {
    "numpy", "scipy", "pandas", "pvlib", "numba", "ortools", "phonenumbers", "openpyxl", "dateutil", "shapely",
}  # fmt: skip
FILES = [path for app in APPS for path in sorted((ROOT / app).rglob("*.py"))]


def imports_of(path: Path) -> set[str]:
    """The modules that a file imports, also inside functions."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found.update(alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.level == 0 and node.module:
            found.add(node.module)
    return found


def parts_of(path: Path) -> tuple[str, ...]:
    return path.relative_to(ROOT).with_suffix("").parts


def is_edge(path: Path) -> bool:
    parts = parts_of(path)
    return parts[:2] in EDGE_ROOMS or bool(EDGES & set(parts[2:3]))


def is_domain(path: Path) -> bool:
    parts = parts_of(path)
    return parts[:2] == ("routing", "solver") or "domain" in parts[2:3]


@pytest.mark.parametrize("path", FILES, ids=lambda path: str(path.relative_to(ROOT)))
def test_apps_import_downwards_only(path: Path) -> None:
    """shared <- pricing <- jobs <- routing; only edges may look the other way."""
    if is_edge(path):
        return
    own = APPS.index(parts_of(path)[0])
    upward = {m for m in imports_of(path) if m.split(".")[0] in APPS[own + 1 :]}
    assert not upward, f"imports against the order: {sorted(upward)}"


@pytest.mark.parametrize("path", [p for p in FILES if is_domain(p)], ids=lambda path: str(path.relative_to(ROOT)))
def test_domain_is_pure(path: Path) -> None:
    """A domain module knows no Django, no clock, no settings and no other room's rows."""
    room = ".".join(parts_of(path)[:2])
    for module in imports_of(path):
        top = module.split(".")[0]
        if top in APPS or top == "config":
            own = (
                module.startswith((f"{room}.domain", "routing.solver"))
                if "solver" in room
                else module.startswith(f"{room}.domain")
            )
            other_domain = "domain" in module.split(".")[2:3]
            solver = top == "routing" and module.split(".")[1:2] == ["solver"]  # pure as a whole
            kernel = module in ("shared.units", "shared", "shared.geo", "shared.money")
            assert own or other_domain or solver or kernel, module
        else:
            import sys

            assert top in sys.stdlib_module_names or top in DOMAIN_MAY_IMPORT, module


@pytest.mark.parametrize("path", FILES, ids=lambda path: str(path.relative_to(ROOT)))
def test_rules_do_not_import_edges(path: Path) -> None:
    """Services, selectors and domain never import views, API, forms or tasks."""
    if is_edge(path):
        return
    for module in imports_of(path):
        parts = module.split(".")
        if parts[0] in APPS and parts[:2] != ["shared", "api_kit"]:
            assert not ({"views", "api", "forms", "admin", "urls"} & set(parts[2:])), module


def test_the_test_sees_files() -> None:
    """A guard that reads nothing would always pass."""
    assert len(FILES) > 60
