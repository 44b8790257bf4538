"""Print how much memory the dashboard's queue holds while it reads many clips.

Run as ``python -m tests.benchmarks.soak [clips]`` (200 unless told). Every clip is another film for
the program: the same short flight with other bytes at its end. They go through the dashboard's own
shelf, queue and store of readings, and every fourth gets its films and stills too, as if somebody
looked. Resident memory of this process and of the processes that read for it, by Linux's own count
(``/proc/PID/smaps_rollup``: shared pages are divided among those that share them).
"""

from __future__ import annotations

import logging
import os
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from tests.cropped_flight import cropped_flight
from ui.clip_chooser import ChosenClip
from ui.clip_queue import ClipQueue, QueuedClip
from ui.dash_words import Words
from ui.known_input import parse_known
from ui.page_read import kept_views
from ui.page_round import read_queued
from ui.reading_store import kept_reading
from ui.shelf import Shelf

SAID = {"distance_m": "18", "capture_hz": "240", "hand": "right"}


@dataclass(frozen=True, kw_only=True)
class Soaked:
    """Memory over many clips.

    Attributes
    ----------
    here_mib, readers_mib
        (n,) resident memory of this process and of those that read for it, after each clip.
    states
        What became of each clip.
    seconds
        How long it all took.
    """

    here_mib: np.ndarray
    readers_mib: np.ndarray
    states: tuple[str, ...]
    seconds: float

    def growth_mib(self, after: int) -> float:
        """Slope of all memory past the first clips, in MiB for 100 clips (least squares)."""
        total = (self.here_mib + self.readers_mib)[after:]
        return 100.0 * float(np.polyfit(np.arange(len(total)), total, 1)[0])


def resident_mib(pid: int) -> float:
    """Memory of a process; 0 if it is gone."""
    try:
        lines = Path(f"/proc/{pid}/smaps_rollup").read_text().splitlines()
    except OSError:
        return 0.0
    return sum(int(line.split()[1]) for line in lines if line.startswith("Pss:")) / 1024


def descendants(pid: int) -> list[int]:
    """List the processes below one."""
    try:
        own = [
            int(child)
            for task in Path(f"/proc/{pid}/task").iterdir()
            for child in (task / "children").read_text().split()
        ]
    except OSError:
        return []
    return own + [below for child in own for below in descendants(child)]


def another(film: bytes, number: int) -> bytes:
    """Make another film of the same pictures: a box that every player passes over is put behind."""
    filling = number.to_bytes(8, "big")
    return film + (8 + len(filling)).to_bytes(4, "big") + b"free" + filling


def soak(folder: Path, clips: int) -> Soaked:
    """Read many clips one after the other.

    Parameters
    ----------
    folder
        For the clips.
    clips
        How many.

    Returns
    -------
    Soaked
        Memory after each.
    """
    film = cropped_flight(folder / "flight.mp4").read_bytes()
    shelf, queue = Shelf(folder), ClipQueue(read_queued)
    here, readers, states = [], [], []
    start = time.monotonic()
    for number in range(clips):
        path = folder / "given.mp4"
        path.write_bytes(another(film, number))
        with path.open("rb") as stream:
            kept = shelf.keep(stream, f"{number}.mp4")
        queue.add(
            QueuedClip(token=kept.sha256, name=kept.name, path=kept.path, sha256=kept.sha256,
                       said=SAID)
        )  # fmt: skip
        while queue.busy():
            time.sleep(0.02)
        clip = queue.clips()[-1]
        states.append(clip.state)
        if clip.reading is not None and number % 4 == 0:
            _look(kept.path, kept.sha256)
        if number % 20 == 19:
            queue.clear()
        here.append(resident_mib(os.getpid()))
        readers.append(sum(resident_mib(pid) for pid in descendants(os.getpid())))
    return Soaked(
        here_mib=np.array(here),
        readers_mib=np.array(readers),
        states=tuple(states),
        seconds=time.monotonic() - start,
    )


def _look(path: Path, sha256: str) -> None:
    """Make what the page of a clip shows, from the reading that is kept."""
    chosen = ChosenClip(token=sha256, path=path, sha256=sha256, name="x", demo=None, given={})
    known = parse_known(SAID)
    result = kept_reading(path, sha256, known, lambda: lambda _stage, _share: None)
    kept_views(chosen, result, Words("en"))


def main() -> None:
    """Soak and print."""
    clips = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    logging.getLogger("streamlit").setLevel(logging.ERROR)
    with tempfile.TemporaryDirectory() as folder:
        done = soak(Path(folder), clips)
    counts = {state: done.states.count(state) for state in sorted(set(done.states))}
    print(f"{clips} clips in {done.seconds:.0f} s: {counts}; load {os.getloadavg()[0]:.1f}")
    for number in sorted({0, *range(9, clips, max(clips // 10, 1)), clips - 1}):
        print(f"after {number + 1:4d} clips: dashboard {done.here_mib[number]:6.0f} MiB, "
              f"readers {done.readers_mib[number]:6.0f} MiB")  # fmt: skip
    if clips > 60:
        print(f"growth past 60 clips: {done.growth_mib(60):+.1f} MiB for 100 clips")


if __name__ == "__main__":
    main()
