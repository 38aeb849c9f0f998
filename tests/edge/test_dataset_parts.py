"""What a plain install can do, and the one line that says what the rest needs.

In processes of their own, in which the optional packages cannot be imported.
"""

import subprocess
import sys
from pathlib import Path

import pytest
from small_dataset import FOLDER, row, summary

from packcodec.edge.lines import record_line

HEAVY = ("numpy", "scipy", "matplotlib", "pandas", "pyarrow", "sqlalchemy")
SERVER = ("starlette", "uvicorn", "jinja2", "markupsafe")
FILES = (
    *("--deployments", str(FOLDER / "deployments.csv")),
    *("--project", str(FOLDER / "project.toml")),
)


def run(missing: tuple[str, ...], *arguments: str) -> subprocess.CompletedProcess[str]:
    code = (
        f"import sys; sys.modules.update(dict.fromkeys({missing!r})); "
        f"sys.argv = ['packcodec', *{arguments!r}]; "
        "from packcodec.edge.cli import main; main()"
    )
    return subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)


@pytest.fixture
def records(tmp_path: Path) -> str:
    path = tmp_path / "records.jsonl"
    path.write_text(record_line(summary(0, 6, row("mallard"))) + "\n", encoding="utf-8")
    return str(path)


@pytest.mark.parametrize("form", ["camtrap-dp", "darwin-core", "csv", "geojson"])
def test_a_plain_install_exports(records: str, tmp_path: Path, form: str) -> None:
    arguments = ("export", str(FOLDER / "schema.toml"), records, str(tmp_path / "o"), "--to", form)
    ran = run((*HEAVY, *SERVER), *arguments, *FILES)
    assert (ran.returncode, ran.stderr) == (0, "")


@pytest.mark.parametrize(
    ("missing", "arguments", "extra"),
    [
        (
            ("pyarrow", "pyarrow.parquet"),
            ("export", "{s}", "{r}", "{o}", "--to", "parquet"),
            "dataset",
        ),
        (("numpy",), ("report", "{s}", "{r}", "--html", "{o}"), "dataset"),
        (("matplotlib",), ("report", "{s}", "{r}", "--html", "{o}"), "dataset"),
        (("starlette",), ("serve", "{s}", "{r}"), "serve"),
        (("uvicorn",), ("serve", "{s}", "{r}"), "serve"),
    ],
)
def test_what_is_missing_is_one_line(
    records: str, tmp_path: Path, missing: tuple[str, ...], arguments: tuple[str, ...], extra: str
) -> None:
    names = {"s": str(FOLDER / "schema.toml"), "r": records, "o": str(tmp_path / "o")}
    ran = run(missing, *(each.format(**names) for each in arguments), *FILES)
    assert ran.returncode == 2
    (line,) = ran.stderr.splitlines()
    assert f"pip install 'packcodec[{extra}]'" in line


def test_the_live_page_needs_none_of_the_heavy_parts() -> None:
    for module in ("starlette", "jinja2"):
        pytest.importorskip(module, reason="the part [serve] is not installed")
    code = (
        f"import sys; sys.modules.update(dict.fromkeys({HEAVY!r})); import packcodec.edge.serve; "
        "import packcodec.dataset; print('loaded')"
    )
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert ran.stdout == "loaded\n"
