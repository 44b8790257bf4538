"""Frames of a stretch of film, taken as they are needed, each with the camera's motion.

Once it is known where in the picture the flight is, only that part of every further frame is kept,
so that a long flight costs little memory.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from tracker.stabilise import CameraMotion, Scenery
from tracker.types import ByteArray, Frame

STEADIED_SIDE_PX = 1280
"""The camera's motion is read from pictures of about this size."""

SHAKE_MARGIN_PX = 48
"""Kept around the flight's part of the picture: a hand shakes less than this."""


class Footage:
    """Frames first to last of a film, by their row in the stretch.

    Parameters
    ----------
    frames
        In order.
    reference
        Row whose coordinates are used.
    count
        How many frames there will be.

    Attributes
    ----------
    height, width
        Of the picture.
    reference_luma
        (height, width) the reference frame.
    """

    def __init__(self, frames: Iterator[Frame], reference: int, count: int) -> None:
        self._frames = frames
        self.count = count
        self.reference = reference
        self._crops: list[ByteArray] = []
        self._motions: list[CameraMotion] = []
        self._box: tuple[int, int, int, int] | None = None
        waiting = [next(frames).luma for _ in range(reference + 1)]
        self.reference_luma = waiting[reference]
        self.height, self.width = self.reference_luma.shape
        self._scenery = Scenery(
            self.reference_luma, max(1, round(max(self.height, self.width) / STEADIED_SIDE_PX))
        )
        for stride in (3, 1):
            # backwards from the reference, so that each begins near its answer
            self._motions = [self._scenery.motion(luma) for luma in waiting[::-stride]][::-1]
            self._scenery.learn()
        self._crops = [self._cut(luma) for luma in waiting]

    def _take(self, luma: ByteArray) -> None:
        self._motions.append(self._scenery.motion(luma))
        self._crops.append(self._cut(luma))

    def _cut(self, luma: ByteArray) -> ByteArray:
        if self._box is None:
            return luma
        x0, y0, x1, y1 = self._box
        return luma[y0:y1, x0:x1].copy()

    def focus(self, box: tuple[int, int, int, int]) -> None:
        """Keep only a box (x0, y0, x1, y1, reference coordinates) and what shakes into it."""
        x0, y0, x1, y1 = box
        self._box = (
            max(x0 - SHAKE_MARGIN_PX, 0),
            max(y0 - SHAKE_MARGIN_PX, 0),
            min(x1 + SHAKE_MARGIN_PX, self.width),
            min(y1 + SHAKE_MARGIN_PX, self.height),
        )
        self._crops = [self._cut(crop) for crop in self._crops]

    @property
    def corner(self) -> tuple[int, int]:
        """(x, y) of the top-left pixel of what `luma` gives."""
        return (0, 0) if self._box is None else (self._box[0], self._box[1])

    def luma(self, row: int) -> ByteArray:
        """Give the kept part of a frame."""
        self._reach(row)
        return self._crops[row]

    def motion(self, row: int) -> CameraMotion:
        """Give the camera's motion in a frame."""
        self._reach(row)
        return self._motions[row]

    def _reach(self, row: int) -> None:
        while len(self._crops) <= row:
            self._take(next(self._frames).luma)

    def moved_px(self, row: int) -> float:
        """How far the picture's corners went in a frame, pixels."""
        w, h = self.width, self.height
        corners = np.array([[0.0, 0.0], [w, 0], [0, h], [w, h]])
        return float(np.abs(self.motion(row).to_raw(corners) - corners).max())
