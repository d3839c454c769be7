"""Compiled code belongs to one version of the kernels, in one place."""

import os
from pathlib import Path

import pytest

from routing.solver import warm


@pytest.fixture
def kernels(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A stand-in for the folder of the kernels, and a data folder."""
    home = tmp_path / "solver"
    home.mkdir()
    for name in warm.KERNELS:
        (home / name).write_text("x = 1\n", encoding="utf-8")
    monkeypatch.setattr(warm, "HERE", home)
    monkeypatch.setenv("WALLDAY_DATA", str(tmp_path / "data"))
    return home


def chosen(monkeypatch: pytest.MonkeyPatch) -> str:
    monkeypatch.delenv("NUMBA_CACHE_DIR", raising=False)
    warm.choose_cache_folder()
    return os.environ["NUMBA_CACHE_DIR"]


def test_the_folder_is_under_the_data_folder(kernels: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Everything that is written goes there, and the same version finds its folder again."""
    folder = Path(chosen(monkeypatch))
    assert folder.parent == kernels.parent / "data" / "numba"
    assert folder.is_dir()
    assert chosen(monkeypatch) == str(folder)
    assert not warm.is_warm()


@pytest.mark.parametrize("name", warm.KERNELS)
def test_a_changed_kernel_is_compiled_anew(kernels: Path, monkeypatch: pytest.MonkeyPatch, name: str) -> None:
    """A change in one file must not leave code that was compiled from the file before."""
    before = chosen(monkeypatch)
    (kernels / name).write_text("x = 2\n", encoding="utf-8")
    assert chosen(monkeypatch) != before


def test_a_copied_kernel_is_not_taken_for_compiled(kernels: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The compiler compiles again when only the time of a file changed, so the marker must not say ready."""
    before = chosen(monkeypatch)
    os.utime(kernels / warm.KERNELS[0], ns=(1, 1))
    assert chosen(monkeypatch) != before
