"""The program itself: its help, its one-line refusals, and how it ends when stopped."""

import signal
import subprocess
import sys
from pathlib import Path

import pytest
from conftest import Command

import packcodec as package
from packcodec.edge.cli import COMMANDS

SCHEMA = Path(package.__file__).parent / "edge" / "demo_data" / "schema.toml"
HOME = Path(package.__file__).parent / "edge" / "cli"


def test_every_command_has_a_file_and_every_file_is_a_command() -> None:
    files = {path.stem for path in HOME.glob("*.py")} - {"__init__", "screen"}
    assert {name for name in files if "def command" in (HOME / f"{name}.py").read_text()} == set(
        COMMANDS
    )


def test_help_names_every_command_and_loads_none() -> None:
    code = (
        "import sys; sys.argv = ['packcodec', '--help']\n"
        "from packcodec.edge.cli import main\n"
        "try: main()\n"
        "except SystemExit: pass\n"
        "print([m for m in sys.modules if m.startswith('packcodec.edge.cli.')])"
    )
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert said.stdout.splitlines()[-1] == "[]"
    for name in COMMANDS:
        assert f"\n  {name} " in said.stdout


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_has_help(packcodec: Command, name: str) -> None:
    ran = packcodec(name, "--help")
    assert ran.code == 0
    assert ran.out.startswith(f"Usage: packcodec {name}")


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["frobnicate"], "No such command"),
        (["compile"], "compile: Missing argument"),
        (["compile", HOME], "is a directory"),
        (["encode", SCHEMA, "nowhere.jsonl"], "nowhere.jsonl"),
        (["compile", SCHEMA, "--unheard"], "No such option"),
    ],
)
def test_usage_errors_are_one_line(packcodec: Command, arguments: list[str], said: str) -> None:
    ran = packcodec(*arguments)
    assert (ran.code, ran.out) == (2, "")
    assert len(ran.err.splitlines()) == 1
    assert said in ran.err
    assert "--help" in ran.err


@pytest.mark.skipif(sys.platform == "win32", reason="a Unix shell")
@pytest.mark.parametrize(
    ("shell", "code", "said"),
    [
        ("{program} compile {schema} > /dev/full", 2, "standard output: No space left"),
        ("{program} compile {schema} >&-", 2, "standard output is closed"),
        # More than a pipe holds, so that the program is still writing when its reader goes.
        ("set -o pipefail; yes ff | head -200000 | {program} decode {schema} 2>&1 | true", 141, ""),
    ],
)
def test_how_it_ends_when_stopped(shell: str, code: int, said: str) -> None:
    program = f"{sys.executable} -m packcodec"
    ran = subprocess.run(
        ["bash", "-c", shell.format(program=program, schema=SCHEMA)],
        capture_output=True,
        text=True,
        check=False,
    )
    assert ran.returncode == code
    assert said in ran.stderr
    assert "Traceback" not in ran.stderr


@pytest.mark.skipif(sys.platform == "win32", reason="a Unix signal")
def test_ctrl_c_ends_it_without_a_word() -> None:
    command = [sys.executable, "-m", "packcodec", "decode", str(SCHEMA)]
    with subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as running:
        assert running.stdin is not None
        assert running.stderr is not None
        running.stdin.write("zz\n")
        running.stdin.flush()
        running.stderr.readline()  # it is past its start and waits for the next line
        running.send_signal(signal.SIGINT)
        assert running.wait() == 130
        assert "Traceback" not in running.stderr.read()


def test_no_line_ends_in_blanks(packcodec: Command) -> None:
    for arguments in (["compile", SCHEMA], ["links"], ["links", "lora-eu-868.1"]):
        lines = packcodec(*arguments).out.splitlines()
        assert lines
        assert [line for line in lines if line != line.rstrip()] == []
