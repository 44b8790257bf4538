"""Print every benchmark that a coach would notice, in one run: ``python -m tests.benchmarks``.

Each part runs in a process of its own, and alone by its own name: ``python -m
tests.benchmarks.logbook``. Run them on a machine that does nothing else; ``decode`` (every kind of
film) and ``tracker_accuracy`` are longer and run by their names only.
"""

from __future__ import annotations

import subprocess
import sys

PARTS = ("start", "tracker", "reading", "batch", "logbook", "dashboard")


def main() -> int:
    """Run the parts, all or those that are named; give how many failed."""
    failed = 0
    for part in sys.argv[1:] or PARTS:
        print(f"\n== {part}", flush=True)
        done = subprocess.run([sys.executable, "-m", f"tests.benchmarks.{part}"], check=False)
        failed += done.returncode != 0
    return failed


if __name__ == "__main__":
    sys.exit(main())
