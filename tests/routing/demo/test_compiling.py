"""The demo waits for the compiler, and knows when it has waited in vain."""

import subprocess
import sys

import pytest

from routing.demo.management.commands import demo


def process(code: str) -> "subprocess.Popen[bytes]":
    return subprocess.Popen([sys.executable, "-c", code], stdin=subprocess.PIPE)


def test_a_compiler_that_ended_was_waited_for() -> None:
    with process("pass") as compiling:
        assert demo._is_over(compiling)


def test_a_compiler_that_goes_on_is_not_taken_for_done(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(demo, "COMPILE_SECONDS", 0.05)
    with process("import sys; sys.stdin.read()") as compiling:
        assert not demo._is_over(compiling)
        compiling.kill()
