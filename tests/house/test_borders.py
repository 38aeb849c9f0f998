"""Who may do what: input and output only in edge/, and a monitor that starts light."""

import ast
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

PACKAGE = Path(__file__).resolve().parents[2] / "packcodec"
FORBIDDEN_MODULES = {
    "os",
    "pathlib",
    "socket",
    "sqlite3",
    "time",
    "logging",
    "random",
    "secrets",
    "subprocess",
    "tempfile",
    "shutil",
}
FORBIDDEN_NAMES = {"open", "print", "input"}
PURE = sorted(
    path for path in PACKAGE.rglob("*.py") if "edge" not in path.relative_to(PACKAGE).parts
)


def breaches(source: str) -> list[str]:
    """Every import and use of a built-in in `source` that only edge/ may make."""
    found = []
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            found += [alias.name for alias in node.names if _top(alias.name) in FORBIDDEN_MODULES]
        elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
            found += [node.module] if _top(node.module) in FORBIDDEN_MODULES else []
        elif isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
            found += [node.func.id] if node.func.id in FORBIDDEN_NAMES else []
        elif isinstance(node, ast.Attribute) and node.attr in ("now", "utcnow", "today"):
            found.append(f".{node.attr}")
    return found


def _top(module: str) -> str:
    return module.split(".")[0]


@pytest.mark.parametrize("path", PURE, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_outside_edge_nothing_is_read_or_written(path: Path) -> None:
    if path.name == "__main__.py":
        return
    assert breaches(path.read_text()) == []


def test_the_test_would_see_a_breach() -> None:
    planted = "import os\nfrom pathlib import Path\nopen('x')\nfrom datetime import datetime\n"
    assert breaches(planted + "datetime.now()") == ["os", "pathlib", "open", ".now"]


HEAVY = ("numpy", "bitstring", "click", "rich", "asn1tools", "cryptography", "sqlalchemy")
LIGHT = ("packcodec", "packcodec.frame", "packcodec.radio", "packcodec.monitor")
# Of the standard library, what a monitor's start would feel.
SLOW = (
    "dataclasses",
    "inspect",
    "importlib.resources",
    "tempfile",
    "difflib",
    "argparse",
    "sqlite3",
)
STATION = """
from packcodec.edge.station import Station
from packcodec.edge.ports import open_port
Station({schema!r}, "lora-eu-868.1", store={store!r}, station=1).seen("otter")
"""


def loaded(code: str, modules: tuple[str, ...]) -> list[str]:
    """Which of `modules` a process of its own loads: what is imported here does not count."""
    asked = f"{code}\nimport sys; print(*(m for m in {modules!r} if m in sys.modules))"
    said = subprocess.run([sys.executable, "-c", asked], capture_output=True, text=True, check=True)
    return said.stdout.split()


@pytest.mark.parametrize("module", LIGHT)
def test_a_monitor_loads_nothing_heavy(module: str) -> None:
    assert loaded(f"import {module}", HEAVY) == []


@pytest.mark.parametrize("coding", ["fixed", "modelled"])
def test_a_station_at_work_loads_nothing_slow(coding: str, tmp_path: Path) -> None:
    demo = PACKAGE / "edge" / "demo_data"
    shutil.copy(demo / "species.csv", tmp_path)
    schema = tmp_path / "schema.toml"
    schema.write_text((demo / "schema.toml").read_text().replace('"fixed"', f'"{coding}"'))
    code = STATION.format(schema=str(schema), store=str(tmp_path / "store"))
    assert loaded(code, (*HEAVY, *SLOW)) == []
    assert loaded("import dataclasses", SLOW) == ["dataclasses", "inspect"]
