"""Print how long twenty clips take on one worker and on two, as `tailsway batch` reads them.

Run as ``python -m tests.benchmarks.batch [clips] [workers ...]``. Seconds on the clock: how much
two workers gain depends on what else the machine does, so the load stands beside the figures.
"""

from __future__ import annotations

import os
import shutil
import sys
import tempfile
import time
from pathlib import Path

from classify.batch import films_in, read_many
from classify.types import Known
from ui.demo_clips import demo_clips

CLIPS = 20
WORKERS = (1, 2)


def round_of_clips(folder: Path, count: int) -> None:
    """Fill a folder with copies of a shipped clip, as a round of one archer would."""
    source = next(clip.path for clip in demo_clips() if clip.name == "fishtailing")
    for number in range(count):
        shutil.copy(source, folder / f"arrow{number:02}.mp4")


def seconds(folder: Path, workers: int) -> float:
    """Read the folder once."""
    known = Known(distance_m=18.0, hand="right")
    start = time.perf_counter()
    read = list(read_many(films_in(folder), known=known, jobs=workers))
    spent = time.perf_counter() - start
    assert all(film.reading is not None and film.reading.label for film in read)
    return spent


def main() -> None:
    """Print a line for each number of workers."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else CLIPS
    workers = [int(text) for text in sys.argv[2:]] or list(WORKERS)
    print(f"batch of {count} clips; processors {os.cpu_count()}, load {os.getloadavg()[0]:.1f}")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        round_of_clips(folder, count)
        spent = {number: seconds(folder, number) for number in workers}
    for number, span in spent.items():
        gain = spent[workers[0]] / span
        print(f"workers {number}: {span:7.1f} s, {span / count:5.2f} s a clip, {gain:4.2f} times")


if __name__ == "__main__":
    main()
