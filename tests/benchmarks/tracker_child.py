"""One thing done to one film in a process of its own, so that its time and memory are its own.

``python -m tests.benchmarks.tracker_child WHAT FILM [SETTINGS]`` prints one line of JSON: seconds
on the clock and of the processor, peak memory in megabytes, and what came out.
"""

from __future__ import annotations

import json
import resource
import sys
import time
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np

from classify.pipeline import read_clip
from classify.types import Known
from tests.benchmarks.decode import decode_alone
from tracker.decode import Reader
from tracker.follow import follow

Settings = dict[str, Any]


def peak_mb() -> float:
    """Most memory this process has held.

    Linux's own count for this program: what `resource` gives may be that of the process which
    started this one.
    """
    status = Path("/proc/self/status")
    if status.exists():
        line = next(x for x in status.read_text().splitlines() if x.startswith("VmHWM"))
        return float(line.split()[1]) / 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def decode(path: Path, _settings: Settings) -> Settings:
    """Decode with the library alone."""
    return {"frames": decode_alone(path)}


def tracked(path: Path, _settings: Settings) -> Settings:
    """Follow the nock; give its places."""
    followed = follow(path)
    if not followed.flights:
        return {"frames": followed.clip.frames, "flights": 0}
    track = followed.flights[0]
    rows = np.flatnonzero(track.seen)
    return {
        "frames": followed.clip.frames,
        "flights": len(followed.flights),
        "reference_frame": track.reference_frame,
        "rows": rows.tolist(),
        "xy_px": track.xy_px[rows].tolist(),
    }


def read(path: Path, settings: Settings) -> Settings:
    """Read the whole film as a coach has it read."""
    known = Known(
        distance_m=settings["distance_m"],
        camera_distance_m=settings["camera_distance_m"],
        capture_hz=Fraction(settings["capture_hz"]),
        hand="right",
    )
    reading = read_clip(path, known=known).reading
    refused = None if reading.refused is None else reading.refused.key
    return {"frames": reading.clip_facts["frames"], "label": reading.label, "refused": refused}


def spots(path: Path, settings: Settings) -> Settings:
    """Find spots with trackpy in the frames told, the scene before them removed as a user would.

    All spots come out; which of them is the nock is for the truth to say.
    """
    import trackpy  # type: ignore[import-not-found, unused-ignore]

    first, last = settings["first"], settings["last"]
    quiet: list[np.ndarray] = []
    scene = np.zeros(0)
    rows, places = [], []
    for frame in _frames(path):
        if frame.index < first - 9:
            continue
        if frame.index > last:
            break
        if frame.index < first:
            quiet.append(frame.luma.astype(np.float32))
            continue
        if not scene.size:
            scene = np.median(np.stack(quiet), axis=0)
        # the nock is brighter than what is behind it
        bright = np.clip(frame.luma - scene, 0, 255)
        found = trackpy.locate(bright, settings["diameter_px"], topn=settings["most"])
        rows += [frame.index] * len(found)
        places += found[["x", "y"]].to_numpy().tolist()
    return {"frames": last - first + 1, "rows": rows, "xy_px": places}


def _frames(path: Path) -> Any:
    with Reader(path) as reader:
        yield from reader.frames()


WHAT: dict[str, Callable[[Path, Settings], Settings]] = {
    "decode": decode,
    "follow": tracked,
    "read": read,
    "spots": spots,
}


def main() -> None:
    """Do it and print."""
    what, path = sys.argv[1], Path(sys.argv[2])
    settings: Settings = json.loads(sys.argv[3]) if len(sys.argv) > 3 else {}
    if what == "spots":
        import trackpy  # noqa: F401 - its import is not timed
    base_mb = peak_mb()
    clock, processor = time.perf_counter(), time.process_time()
    out = WHAT[what](path, settings)
    spent = {
        "clock_s": time.perf_counter() - clock,
        "processor_s": time.process_time() - processor,
        "peak_mb": peak_mb(),
        "base_mb": base_mb,
    }
    sys.stdout.write(json.dumps({**spent, **out}) + "\n")


if __name__ == "__main__":
    main()
