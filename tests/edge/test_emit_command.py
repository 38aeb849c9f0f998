"""`packcodec emit` and `packcodec verify` as a shell runs them."""

import json
import sys
from pathlib import Path

import pytest
from conftest import Command

from packcodec.emit import TARGETS, emit
from packcodec.emit.conformance import questions
from packcodec.layout import compile_layout
from packcodec.schema import read_schema

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "packcodec" / "edge" / "demo_data" / "schema.toml"
VECTORS = ROOT / "spec" / "vectors"


@pytest.mark.parametrize("target", TARGETS)
def test_every_target_is_written(packcodec: Command, target: str, tmp_path: Path) -> None:
    ran = packcodec("emit", DEMO, "--to", target, "--output", tmp_path / "new", "--json")
    assert ran.code == 0
    told = json.loads(ran.out)
    assert told["target"] == target
    assert told["files"]
    for file in told["files"]:
        assert Path(file["path"]).stat().st_size == file["bytes"] > 100
    assert sorted(map(str, (tmp_path / "new").iterdir())) == sorted(
        file["path"] for file in told["files"]
    )


def test_a_single_file_goes_to_standard_output(packcodec: Command) -> None:
    ran = packcodec("emit", DEMO, "--to", "javascript")
    assert ran.code == 0
    assert ran.out.startswith("/* Schema sedgemere")
    assert ran.out.endswith("}\n")


def test_several_files_go_to_this_folder(
    packcodec: Command, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    ran = packcodec("emit", DEMO, "--to", "c")
    assert ran.out.split() == ["sedgemere.h", "sedgemere.c"]
    assert {path.name for path in tmp_path.iterdir()} == {"sedgemere.h", "sedgemere.c"}


def test_an_unknown_target_is_refused(packcodec: Command) -> None:
    ran = packcodec("emit", DEMO, "--to", "javascrip")
    assert ran.code == 2
    assert "did you mean 'javascript'?" in ran.err


def test_a_file_in_the_place_of_the_folder_is_named(packcodec: Command, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    ran = packcodec("emit", DEMO, "--to", "c", "--output", tmp_path / "file" / "inside")
    assert (ran.code, len(ran.err.splitlines())) == (2, 1)
    assert f"{tmp_path / 'file' / 'inside'}: cannot be written" in ran.err
    assert "name another folder with --output" in ran.err


def test_where_one_file_cannot_be_written_none_is(packcodec: Command, tmp_path: Path) -> None:
    (tmp_path / "sedgemere.c").mkdir()
    (tmp_path / "sedgemere.c" / "kept").write_text("")
    ran = packcodec("emit", DEMO, "--to", "c", "--output", tmp_path)
    assert ran.code == 2
    assert "sedgemere.c" in ran.err
    assert [path.name for path in tmp_path.iterdir()] == ["sedgemere.c"]


@pytest.fixture
def decoder(tmp_path: Path) -> str:
    """A command that runs the frozen Python of whatever vectors it is given."""
    for file in VECTORS.rglob("*.json"):
        vectors = json.loads(file.read_text())
        said = (vectors["schema"], vectors["species"])
        layout = compile_layout(read_schema(*said, models_toml=vectors.get("models", "")))
        ((_, text),) = emit(layout, "python").items()
        (tmp_path / f"{file.stem}.py").write_text(text)
    return f"{sys.executable} -I {tmp_path}/{{name}}.py"


def test_a_decoder_that_is_right_passes(packcodec: Command, decoder: str) -> None:
    ran = packcodec("verify", "--command", decoder, "--vectors", VECTORS, "--json")
    assert ran.code == 0, ran.out
    files = json.loads(ran.out)["files"]
    assert len(files) == len(list(VECTORS.rglob("*.json")))
    assert all(each["frames"] == each["right"] > 8 for each in files)


def test_a_decoder_that_is_wrong_once_fails(
    packcodec: Command, decoder: str, tmp_path: Path
) -> None:
    emitted = tmp_path / "optional.py"
    text = emitted.read_text()
    assert "NONZERO_PAD)" in text
    emitted.write_text(text.replace("NONZERO_PAD)", "WRONG_LENGTH)"))
    vectors = VECTORS / "optional.json"
    ran = packcodec("verify", "--command", decoder, "--vectors", vectors)
    assert ran.code == 1
    assert "{'reason': 5}" in ran.out
    assert '"reason": 1' in ran.out


def test_a_decoder_that_never_uses_the_key_fails(
    packcodec: Command, decoder: str, tmp_path: Path
) -> None:
    emitted = tmp_path / "sealed-sign8.py"
    text = emitted.read_text()
    assert 'ciphers=_ciphers(said.get("key"))' in text
    emitted.write_text(text.replace('_ciphers(said.get("key"))', "{}"))
    vectors = VECTORS / "sealed-sign8.json"
    ran = packcodec("verify", "--command", decoder, "--vectors", vectors, "--json")
    assert ran.code == 1
    (told,) = json.loads(ran.out)["files"]
    missed = {each["about"] for each in told["missed"]}
    assert "a record" in missed
    assert "the key of another station" not in missed


def test_a_sealed_frame_is_asked_with_its_key_and_the_counter_expected() -> None:
    file = VECTORS / "sealed-ccm4.json"
    asked = {each.about: each for each in questions(file.read_text(), str(file))}
    lost = asked["300 frames lost"]
    _, key, expected = lost.line.split()
    assert (key, expected) == ("key=000102030405060708090a0b0c0d0e0f", "expected=69700")
    assert lost.right["counter"] == 70_000
    assert " " not in asked["no key of the station"].line


@pytest.mark.parametrize("words", ["-c 'exit()'", "-c 'exit(3)'", "-c 'print(1)'"])
def test_a_decoder_that_says_nothing_fails(packcodec: Command, words: str) -> None:
    command = f"{sys.executable} {words} {{file}}"
    ran = packcodec("verify", "--command", command, "--vectors", VECTORS / "lists.json", "--json")
    assert ran.code == 1
    ((told),) = json.loads(ran.out)["files"]
    assert told["right"] == 0
    assert ("exit 3" in (told["fault"] or "")) == ("exit(3)" in words)


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--command", "no-such-program"], "no-such-program"),
        (["--command", "'"], "--command"),
        (["--command", ""], "--command"),
        (["--command", "true", "--vectors", "no/such/folder"], "no/such/folder"),
    ],
)
def test_what_cannot_be_run_is_said(packcodec: Command, options: list[str], said: str) -> None:
    vectors = ["--vectors", str(VECTORS)] if "--vectors" not in options else []
    ran = packcodec("verify", *options, *vectors)
    assert ran.code == 2
    assert said in ran.err
    assert "Traceback" not in ran.err


def test_a_file_that_holds_no_vectors_is_named(packcodec: Command, tmp_path: Path) -> None:
    (tmp_path / "other.json").write_text('{"valid": [3]}')
    ran = packcodec("verify", "--command", "true", "--vectors", tmp_path)
    assert ran.code == 2
    assert "other.json" in ran.err
