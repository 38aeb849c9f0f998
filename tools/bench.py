"""Speed and size, as ratios against named peers in one run.

    python tools/bench.py            every part whose peers are installed
    python tools/bench.py speed      one part

Parts are the files bench_*.py beside this one, each with `main(arguments) -> exit code`. Peers
come with `pip install packcodec[bench]`.
"""

import importlib
import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent


def parts() -> list[str]:
    """The names of the parts there are."""
    return sorted(path.stem.removeprefix("bench_") for path in HERE.glob("bench_*.py"))


def main(arguments: list[str]) -> int:
    """Run one part with its arguments, or all of them; the worst exit code."""
    if arguments and arguments[0] not in parts():
        print(f"no part {arguments[0]!r}; there are {', '.join(parts())}", file=sys.stderr)
        return 2
    chosen = [arguments[0]] if arguments else parts()
    return max(importlib.import_module(f"bench_{part}").main(arguments[1:]) or 0 for part in chosen)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
