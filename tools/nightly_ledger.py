"""Run the ledger's state machine for a night's worth of steps: 100,000 unless told otherwise.

    python tools/nightly_ledger.py [STEPS]

The machine is the one of tests/radio/test_ledger.py, which runs 2,000 steps. Exit 1 with the
shortest failing history where a window was over its limit.
"""

import runpy
import sys
from pathlib import Path

from hypothesis import HealthCheck, settings
from hypothesis.stateful import run_state_machine_as_test

TESTS = Path(__file__).parents[1] / "tests" / "radio"
STEPS_PER_HISTORY = 100


def main() -> None:
    steps = int(sys.argv[1]) if len(sys.argv) > 1 else 100_000
    sys.path.insert(0, str(TESTS))
    machine = runpy.run_path(str(TESTS / "test_ledger.py"))["LedgerMachine"]
    run_state_machine_as_test(
        machine,
        settings=settings(
            max_examples=-(-steps // STEPS_PER_HISTORY),
            stateful_step_count=STEPS_PER_HISTORY,
            deadline=None,
            suppress_health_check=[HealthCheck.too_slow],
        ),
    )
    print(f"{steps} steps: no window was ever over its limit")


if __name__ == "__main__":
    main()
