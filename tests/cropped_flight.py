"""A small film of an arrow in flight, cut out of a shipped clip, and so quick to read."""

from __future__ import annotations

from fractions import Fraction
from functools import cache
from pathlib import Path

import numpy as np

from fixtures.encode import Coding, write_clip
from tracker.decode import Reader

SOURCE = Path(__file__).parents[1] / "fixtures" / "clips" / "fishtailing.mp4"
FRAMES = slice(100, 210)
COLUMNS, ROWS = slice(631, 887), slice(153, 329)


@cache
def flight_frames() -> tuple[np.ndarray, ...]:
    """Cut the part of the pictures in which the arrow flies."""
    with Reader(SOURCE) as reader:
        frames = [frame.luma[ROWS, COLUMNS].copy() for frame in reader.frames()]
    return tuple(frames[FRAMES])


def cropped_flight(path: Path, coding: Coding | None = None) -> Path:
    """Write it, in the container of the path's ending."""
    return write_clip(path, flight_frames(), container_hz=Fraction(240), coding=coding)
