"""What a newcomer gets wrong, at the commands: each mistake is named with its place and remedy."""

import shutil
from pathlib import Path

import pytest
from conftest import Command

import packcodec as package

DEMO = Path(package.__file__).parent / "edge" / "demo_data"


@pytest.fixture
def own(tmp_path: Path) -> Path:
    """A copy of the demo's schema, to be spoilt."""
    for name in ("schema.toml", "species.csv"):
        shutil.copy(DEMO / name, tmp_path / name)
    return tmp_path / "schema.toml"


def spoil(schema: Path, old: str, new: str) -> None:
    text = schema.read_text(encoding="utf-8")
    assert old in text
    schema.write_text(text.replace(old, new, 1), encoding="utf-8")


def test_what_cannot_be_laid_out_names_its_file(packcodec: Command, own: Path) -> None:
    spoil(own, 'check = "crc24"', 'check = "crc16-short"')
    ran = packcodec("compile", own)
    assert ran.code == 2
    assert f"{own} frame.check: message " in ran.err
