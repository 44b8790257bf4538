"""Films whose every frame says its own number, so that a frame out of place is seen at once."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path

import numpy as np

from fixtures.encode import Coding, write_clip
from tracker.decode import Reader
from tracker.types import Clip, Frame

WIDTH, HEIGHT = 96, 64
CELL = 8
BITS = 8


def barcode_frame(number: int, width: int = WIDTH, height: int = HEIGHT) -> np.ndarray:
    """Draw a ramp, brighter to the right, with the frame number in black and white cells below."""
    frame = np.empty((height, width), np.uint8)
    frame[:] = np.linspace(60, 180, width).round()
    for bit in range(BITS):
        shade = 220 if number >> bit & 1 else 30
        frame[height - CELL :, CELL * bit : CELL * (bit + 1)] = shade
    x = 4 + 2 * number % (width - 16)
    frame[16:28, x : x + 8] = 235
    return frame


def number_in(luma: np.ndarray) -> int:
    """Read the frame number back."""
    middle = luma[-CELL // 2 - 1]
    bits = [middle[CELL * bit + CELL // 2] > 125 for bit in range(BITS)]
    return sum(1 << bit for bit, on in enumerate(bits) if on)


def barcode_frames(count: int, width: int = WIDTH, height: int = HEIGHT) -> Iterator[np.ndarray]:
    """Frames 0 to count - 1."""
    return (barcode_frame(number, width, height) for number in range(count))


def barcode_film(
    path: Path,
    count: int = 40,
    *,
    hz: Fraction = Fraction(240),
    coding: Coding | None = None,
    times_s: np.ndarray | None = None,
) -> Path:
    """Write a film of numbered frames."""
    frames = barcode_frames(count)
    return write_clip(path, frames, container_hz=hz, coding=coding, times_s=times_s)


def read_whole(path: Path, capture_hz: Fraction | None = None) -> tuple[list[Frame], Clip]:
    """Decode a film to its end."""
    with Reader(path, capture_hz=capture_hz) as reader:
        return list(reader.frames()), reader.clip


def note_keys(clip: Clip) -> list[str]:
    """Keys of the notes."""
    return [note.key for note in clip.notes]
