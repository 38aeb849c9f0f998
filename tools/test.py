"""Set up and run the tests: style, types, the direction of imports, and pytest.

python tools/test.py [pytest's arguments]
"""

import sys

from environment import prepare, run

CHECKS = (
    ("style", ("-m", "ruff", "check", ".")),
    ("layout of the code", ("-m", "ruff", "format", "--check", ".")),
    ("types", ("-m", "mypy")),
    ("who may import whom", ("-c", "from importlinter.cli import lint_imports_command as c; c()")),
)


def main() -> int:
    """0 if everything passes; with arguments, only pytest with them."""
    python = str(prepare("test"))
    arguments = sys.argv[1:]
    failed = []
    for name, command in () if arguments else CHECKS:
        print(f"== {name}", flush=True)
        if run(python, *command):
            failed.append(name)
    print("== tests", flush=True)
    if run(python, "-m", "pytest", *(arguments or ("-n", "auto", "-rs"))):
        failed.append("tests")
    print(f"FAILED: {', '.join(failed)}" if failed else "All passed.")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
