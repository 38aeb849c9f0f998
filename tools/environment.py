"""An environment of the project's own, made once and kept until pyproject.toml changes."""

import hashlib
import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
HOME = ROOT / ".venv"
OLDEST = (3, 11)


def prepare(extras: str) -> Path:
    """Make `.venv` beside pyproject.toml, install packcodec with `extras`, give its Python."""
    if sys.version_info < OLDEST:
        sys.exit(f"packcodec needs Python {OLDEST[0]}.{OLDEST[1]}, and this is {sys.version}")
    python = HOME / ("Scripts/python.exe" if os.name == "nt" else "bin/python")
    stamp = HOME / "packcodec-installed"
    wanted = f"{extras} {hashlib.sha256((ROOT / 'pyproject.toml').read_bytes()).hexdigest()}"
    if python.exists() and stamp.exists() and wanted in stamp.read_text().splitlines():
        return python
    if not python.exists():
        print("Making an environment in .venv …", flush=True)
        if run(sys.executable, "-m", "venv", str(HOME)):
            sys.exit("Python's venv module failed; on Debian: apt install python3-venv")
    print("Installing packcodec and what it needs …", flush=True)
    target = f"{ROOT}[{extras}]" if extras else str(ROOT)
    if run(str(python), "-m", "pip", "install", "--quiet", "--editable", target):
        sys.exit("pip could not install packcodec; its message is above")
    earlier = stamp.read_text().splitlines() if stamp.exists() else []
    stamp.write_text(
        "\n".join([line for line in earlier if line.endswith(wanted[-64:])] + [wanted])
    )
    return python


def run(*command: str) -> int:
    """Run a command in the project's folder; its exit code."""
    return subprocess.call(
        command, cwd=ROOT, env={**os.environ, "PIP_DISABLE_PIP_VERSION_CHECK": "1"}
    )
