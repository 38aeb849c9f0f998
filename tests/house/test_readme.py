"""Every example of the README runs as printed.

A block marked `console` is typed into one shell, line by line, in a folder where the demo's files
lie. Lines that start with `$ ` are commands; the lines under one are what it says, where a line of
`…` stands for any number of lines. `$?` is checked by printing it. Blocks marked `python` run in
the same folder, after the console blocks before them.
"""

import os
import re
import subprocess
import sys
import sysconfig
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"^```(console|python)\n(.*?)^```$", README, re.MULTILINE | re.DOTALL)


@pytest.mark.skipif(os.name == "nt", reason="the README's examples are typed into a Unix shell")
def test_every_example_runs_as_printed(tmp_path: Path) -> None:
    assert {kind for kind, _ in BLOCKS} == {"console", "python"}
    environment = {
        **os.environ,
        "PATH": os.pathsep.join([sysconfig.get_path("scripts"), os.environ["PATH"]]),
    }
    wrong = []
    for kind, text in BLOCKS:
        if kind == "python":
            wrong += python_block(text, tmp_path)
            continue
        for command, said in commands(text):
            ran = subprocess.run(
                ["bash", "-c", command],
                cwd=tmp_path,
                env=environment,
                stdout=subprocess.PIPE,
                stderr=subprocess.STDOUT,
                text=True,
                check=False,
            )
            if not matches(said, [line.rstrip() for line in ran.stdout.splitlines()]):
                wrong.append(f"$ {command}\nprints\n{ran.stdout}where the README has\n{said}")
    assert not wrong, "\n\n".join(wrong)


def commands(block: str) -> list[tuple[str, list[str]]]:
    """The commands of a block, each with the lines that are printed under it."""
    found: list[tuple[str, list[str]]] = []
    for line in block.splitlines():
        if line.startswith("$ "):
            found.append((line.removeprefix("$ "), []))
        elif found and found[-1][0].endswith("\\"):
            found[-1] = (found[-1][0][:-1] + line.strip(), [])
        else:
            found[-1][1].append(line.rstrip())
    return found


def matches(pattern: list[str], lines: list[str]) -> bool:
    """Whether `lines` are those of the pattern, in which "…" alone is any run of lines."""
    form = "".join(
        r"(?:.*\n)*?" if line.strip() == "…" else re.escape(line) + r"\n" for line in pattern
    )
    return re.fullmatch(form, "".join(f"{line}\n" for line in lines)) is not None


def python_block(text: str, folder: Path) -> list[str]:
    ran = subprocess.run(
        [sys.executable, "-c", text], cwd=folder, capture_output=True, text=True, check=False
    )
    return [f"{text}\nfails with\n{ran.stderr}"] if ran.returncode else []


def test_the_monitors_script_is_the_one_that_is_tested() -> None:
    [printed] = re.findall(r"^```python monitor_script.py\n(.*?)^```$", README, re.M | re.S)
    tested = (ROOT / "tests" / "edge" / "monitor_script.py").read_text(encoding="utf-8")
    assert printed == tested
    assert len(printed.splitlines()) <= 25


def test_the_two_commands_are_there_and_ci_runs_the_second() -> None:
    assert "python tools/demo.py" in README
    assert "python tools/test.py" in README
    assert "tools/test.py" in (ROOT / ".ci" / "run").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("pattern", "lines", "same"),
    [
        (["a", "…", "b"], ["a", "x", "y", "b"], True),
        (["a", "…"], ["a"], True),
        (["a"], ["a", "b"], False),
        (["a+"], ["aa"], False),
    ],
)
def test_the_comparison_compares(pattern: list[str], lines: list[str], same: bool) -> None:
    assert matches(pattern, lines) == same
