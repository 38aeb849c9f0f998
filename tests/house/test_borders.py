"""Who may do what: input and output only in edge/, and a monitor that starts light."""

import ast
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


@pytest.mark.parametrize("module", LIGHT)
def test_a_monitor_loads_nothing_heavy(module: str) -> None:
    """In a process of its own: what has been imported here does not count."""
    code = f"import sys, {module}; print([m for m in {HEAVY!r} if m in sys.modules])"
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert said.stdout.strip() == "[]"
