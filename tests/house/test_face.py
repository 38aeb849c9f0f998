"""`import packcodec`: every name it promises is there, and fetched only when it is used."""

import subprocess
import sys

import pytest

import packcodec


@pytest.mark.parametrize("name", packcodec.__all__)
def test_every_name_is_there(name: str) -> None:
    assert getattr(packcodec, name) is not None


def test_a_name_that_is_not_there() -> None:
    with pytest.raises(AttributeError, match="packcodec has no 'frobnicate'"):
        packcodec.frobnicate  # noqa: B018


def test_importing_it_imports_no_stage() -> None:
    code = "import sys, packcodec; print(sorted(m for m in sys.modules if 'packcodec.' in m))"
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert said.stdout.strip() == "['packcodec.lazy']"
