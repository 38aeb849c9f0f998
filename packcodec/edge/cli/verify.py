"""`packcodec verify`: any decoder against the test vectors."""

import shlex
import subprocess
import sys
from pathlib import Path

import click

from packcodec.edge.cli.screen import as_json, document, say, table
from packcodec.emit.conformance import Miss, Question, judge, questions
from packcodec.errors import PackcodecError

PATIENCE_S = 60


@click.command()
@click.option("--command", "decoder", required=True, help="The decoder, as a shell would have it.")
@click.option(
    "--vectors",
    type=click.Path(),
    default="spec/vectors",
    show_default=True,
    help="A folder of vector files, or one of them.",
)
@as_json
def command(decoder: str, vectors: str, as_json: bool) -> None:
    """Run a decoder in any language against the test vectors; exit 1 if an answer is wrong.

    The decoder is started once for each vector file. {file} in the command stands for the file's
    path and {name} for its name without ending; without either the path comes last. It reads
    frames, one line of hexadecimal digits each and after them what the carrier says
    (station=3 received=2027-04-01T06:30:00Z), and answers each with one line of JSON: the record,
    or {"reason": number}.

    Of a sealed frame the line also says its station's key in hexadecimal, if there is one, and the
    counter expected next, if that is not 0 (key=000102… expected=70000). The record then has the
    whole "counter"; where a frame carries a repair symbol, it has "repair": {"held": number,
    "symbol": hexadecimal}.
    """
    results = []
    for file in _files(Path(vectors)):
        asked = questions(_text(file), str(file))
        answers, fault = _run(decoder, file, asked)
        results.append((file.stem, len(asked), judge(asked, answers), fault))
    if as_json:
        document({"files": [_data(*result) for result in results]})
    else:
        _show(results)
    if any(missed for _, _, missed, _ in results):
        sys.exit(1)


def _files(path: Path) -> list[Path]:
    files = sorted(path.rglob("*.json")) if path.is_dir() else [path]
    if not files:
        raise PackcodecError(
            "holds no vector files",
            place=str(path),
            remedy="name the project's spec/vectors with --vectors",
        )
    return files


def _text(file: Path) -> str:
    try:
        return file.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise PackcodecError(
            f"cannot be read ({error})",
            place=str(file),
            remedy="name the project's spec/vectors with --vectors",
        ) from None


def _run(decoder: str, file: Path, asked: tuple[Question, ...]) -> tuple[list[str], str]:
    """The decoder's lines, and what went wrong with it as a whole."""
    try:
        words = shlex.split(decoder)
    except ValueError as error:
        raise PackcodecError(f"{error}", place="--command", remedy="close the quote") from None
    filled = [word.replace("{file}", str(file)).replace("{name}", file.stem) for word in words]
    lines = "".join(f"{question.line}\n" for question in asked)
    try:
        ran = subprocess.run(
            filled if filled != words else [*words, str(file)],
            input=lines.encode(),
            capture_output=True,
            timeout=PATIENCE_S,
            check=False,
        )
    except subprocess.TimeoutExpired:
        return [], f"no answer within {PATIENCE_S} s"
    except (OSError, IndexError) as error:
        raise PackcodecError(
            f"cannot be run ({error})",
            place="--command",
            remedy="name a program and its arguments, such as --command './decoder {name}'",
        ) from None
    fault = ran.stderr.decode(errors="replace").strip().splitlines()[-1:] if ran.returncode else []
    answers = ran.stdout.decode(errors="replace").splitlines()
    return answers, f"exit {ran.returncode} {' '.join(fault)}".strip() if ran.returncode else ""


def _show(results: list[tuple[str, int, list[Miss], str]]) -> None:
    table(
        ("vectors", ">frames", ">right", ""),
        [(name, count, count - len(missed), fault) for name, count, missed, fault in results],
    )
    for name, _, missed, _ in results:
        for miss in missed:
            say()
            say(f"{name}: {miss.question.about}")
            say(f"  asked  {miss.question.line}")
            say(f"  right  {miss.question.right}")
            say(f"  said   {miss.said or 'nothing'}")


def _data(name: str, count: int, missed: list[Miss], fault: str) -> dict[str, object]:
    return {
        "name": name,
        "frames": count,
        "right": count - len(missed),
        "fault": fault or None,
        "missed": [
            {
                "about": miss.question.about,
                "asked": miss.question.line,
                "right": miss.question.right,
                "said": miss.said,
            }
            for miss in missed
        ],
    }
