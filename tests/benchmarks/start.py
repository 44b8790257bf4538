"""Print how long the command and the processes behind it take to start.

Run as ``python -m tests.benchmarks.start [rounds]``. Processor seconds of a process that does
nothing else, the best of several, beside an empty Python.
"""

from __future__ import annotations

import os
import resource
import subprocess
import sys

STARTS = {
    "empty Python": "pass",
    "tailsway --version": "import sys; sys.argv = ['tailsway', '--version']\n"
    "from ui.command import main; main()",
    "tailsway read": "import ui.command",
    "tailsway book": "import ui.command_book",
    "process that reads films": "import classify.apart_child",
    "dashboard": "import ui.dashboard",
}


def least_seconds(program: str, rounds: int) -> float:
    """Run a program several times, and give its least processor time."""
    spans = []
    for _ in range(rounds):
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        subprocess.run([sys.executable, "-c", program], check=True, capture_output=True)
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        spans.append(after.ru_utime - before.ru_utime + after.ru_stime - before.ru_stime)
    return min(spans)


def main() -> None:
    """Print one line for each start."""
    rounds = int(sys.argv[1]) if len(sys.argv) > 1 else 5
    print(f"start, processor seconds, best of {rounds}; load {os.getloadavg()[0]:.1f}")
    empty = least_seconds(STARTS["empty Python"], rounds)
    for name, program in STARTS.items():
        spent = least_seconds(program, rounds)
        print(f"{name:28}{spent:7.2f}{spent / empty:8.0f} times an empty Python")


if __name__ == "__main__":
    main()
