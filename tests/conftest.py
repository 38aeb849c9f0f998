"""Hypothesis without its clock: no test times anything. HYPOTHESIS_PROFILE=long looks further."""

import io
import os
import sys
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

import pytest
from hypothesis import HealthCheck, settings

from packcodec.edge.cli import main

SLOW = [HealthCheck.too_slow, HealthCheck.data_too_large, HealthCheck.filter_too_much]
settings.register_profile("short", deadline=None, max_examples=100, suppress_health_check=SLOW)
settings.register_profile(
    "long",
    deadline=None,
    max_examples=int(os.environ.get("HYPOTHESIS_EXAMPLES", "3000")),
    suppress_health_check=SLOW,
)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "short"))


class Ran(NamedTuple):
    """A command's exit code, standard output and standard error."""

    code: int
    out: str
    err: str


Command = Callable[..., Ran]


@pytest.fixture
def packcodec(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Command:
    """`packcodec("compile", "x.toml", stdin="…")`, in this process, as a shell would run it."""

    def run(*arguments: str | Path, stdin: str = "") -> Ran:
        monkeypatch.setattr(sys, "argv", ["packcodec", *map(str, arguments)])
        monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(stdin.encode())))
        try:
            main()
        except SystemExit as stopped:
            return Ran(int(stopped.code or 0), *capsys.readouterr())
        return Ran(0, *capsys.readouterr())

    return run
