"""Frames of a stretch of film, taken as they are needed, each with the camera's motion.

A film's pictures are large and many: of those long before the release only small ones are kept, of
those in which an arrow is followed on only the part where it still may go.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from tracker.lighting import Lighting
from tracker.stabilise import CameraMotion, Scenery, smaller
from tracker.types import ByteArray, Frame

FromRow = Callable[[int], Iterator[Frame]]
"""Gives the frames of a stretch in order, from a row of it on."""

Box = tuple[int, int, int, int]
"""x0, y0, x1, y1."""

STEADIED_SIDE_PX = 1280
"""The camera's motion is read from pictures of about this size."""

SEARCHED_SIDE_PX = 640
"""Pictures are searched for a path at about this size."""

SHAKE_MARGIN_PX = 48
"""Kept around the flight's part of the picture: a hand shakes less than this."""

QUIET_ROWS = 20
"""Whole frames kept up to the reference: the scene beneath the first of the flight, and the noise,
are taken from them."""

QUIET_SAMPLES = 30
"""Frames long before the release, at most, of which the camera's motion is measured, to learn how
well each landmark is found and what the scene looks like. Twice as many made 44 filmed flights no
better; with 20 the paths were rougher."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Part:
    """What is kept of a frame.

    Attributes
    ----------
    luma
        (h, w)
    x0, y0
        Of its top-left pixel in the whole frame.
    """

    luma: ByteArray
    x0: int
    y0: int


class Footage:
    """Frames first to last of a film, by their row in the stretch.

    Parameters
    ----------
    fetch
        Gives the frames; asked again where too little of a frame was kept.
    reference
        Row whose coordinates are used.
    count
        How many frames there will be.

    Attributes
    ----------
    height, width
        Of the picture.
    first_kept
        First row whose whole picture is kept.
    quiet_rows
        Rows up to the reference, spread over all, that can be `searched`.
    reference_luma
        (height, width) the reference frame.
    search_reduce
        How many times smaller what `searched` gives is.
    """

    def __init__(self, fetch: FromRow, reference: int, count: int) -> None:
        self._fetch, self._frames = fetch, fetch(0)
        self.count = count
        self.reference = reference
        self.first_kept = max(0, reference + 1 - QUIET_ROWS)
        luma = next(self._frames).luma
        self.height, self.width = luma.shape
        long_side = max(luma.shape)
        self.search_reduce = max(1, round(long_side / SEARCHED_SIDE_PX))
        reduce = max(1, round(long_side / STEADIED_SIDE_PX))
        self.quiet_rows = range(0, reference + 1, max(1, -(-(reference + 1) // QUIET_SAMPLES)))
        self._searched: dict[int, ByteArray] = {}
        self._motions: dict[int, CameraMotion] = {}
        quiet: deque[ByteArray] = deque(maxlen=reference + 1 - self.first_kept)
        small: dict[int, ByteArray] = {}
        for row in range(reference + 1):
            luma = luma if row == 0 else next(self._frames).luma
            if row in self.quiet_rows or row >= self.first_kept:
                quiet.append(_kept(luma))
                small[row] = smaller(luma, reduce)
                self._searched[row] = smaller(luma, self.search_reduce)
        self.reference_luma = quiet[-1]
        self._scenery = Scenery(self.reference_luma, reduce)
        self._light = Lighting(self.reference_luma)
        for rows in (self.quiet_rows, small):
            near = None
            # backwards from the reference, so that each begins near its answer
            for row in sorted(rows)[::-1]:
                near = self._scenery.motion_of(self._light.steadied(small[row], near))
                self._motions[row] = near
            self._scenery.learn()
            self._light.learn()
        for row, motion in self._motions.items():
            self._searched[row] = self._light.steadied(self._searched[row], motion)
        self._parts = [
            Part(luma=self._light.steadied(one, self._motions[row]), x0=0, y0=0)
            for row, one in enumerate(quiet, self.first_kept)
        ]
        self._box: Box = (0, 0, self.width, self.height)

    @property
    def size(self) -> tuple[int, int]:
        """(width, height) of the picture."""
        return self.width, self.height

    def narrow(self, box: Box) -> None:
        """Keep of further frames only a box, reference coordinates, and what shakes into it."""
        x0, y0, x1, y1 = box
        self._box = (
            int(np.clip(x0 - SHAKE_MARGIN_PX, 0, self.width - 1)),
            int(np.clip(y0 - SHAKE_MARGIN_PX, 0, self.height - 1)),
            int(np.clip(x1 + SHAKE_MARGIN_PX, 1, self.width)),
            int(np.clip(y1 + SHAKE_MARGIN_PX, 1, self.height)),
        )

    def widen(self) -> None:
        """Take the frames anew of which only a part was kept: another path may leave it."""
        whole = [part.luma.shape == (self.height, self.width) for part in self._parts]
        self._box = (0, 0, self.width, self.height)
        if not all(whole):
            del self._parts[whole.index(False) :]
            self._frames = self._fetch(self.first_kept + len(self._parts))

    def part(self, row: int) -> Part:
        """Give what is kept of a frame, from `first_kept` on."""
        self._reach(row)
        if row < self.first_kept:
            raise IndexError(f"row {row} was let go, rows from {self.first_kept} were kept")
        return self._parts[row - self.first_kept]

    def drop_searched(self) -> None:
        """Let go of the smaller pictures once all were searched."""
        self._searched.clear()

    def searched(self, row: int) -> ByteArray:
        """Give a frame made `search_reduce` times smaller, before `drop_searched`."""
        self._reach(row)
        return self._searched[row]

    def has_motion(self, row: int) -> bool:
        """Tell whether the camera's motion in a frame was measured: not in all long before."""
        return row in self._motions

    def motion(self, row: int) -> CameraMotion:
        """Give the camera's motion in a frame, that of the next measured if long before."""
        self._reach(row)
        if row < self.first_kept and row not in self._motions:
            return self._motions[min(known for known in self._motions if known > row)]
        return self._motions[row]

    def _reach(self, row: int) -> None:
        while self.first_kept + len(self._parts) <= row:
            here = self.first_kept + len(self._parts)
            near = self._motions.get(here, self._motions[here - 1])
            luma = self._light.steadied(next(self._frames).luma, near)
            if here not in self._motions:
                self._motions[here] = self._scenery.motion(luma)
                if self._searched:
                    self._searched[here] = smaller(luma, self.search_reduce)
            x0, y0, x1, y1 = self._box
            if (x1 - x0, y1 - y0) != self.size:
                luma = luma[y0:y1, x0:x1]
            self._parts.append(Part(luma=_kept(luma), x0=x0, y0=y0))

    def moved_px(self, row: int) -> float:
        """How far the picture's corners went in a frame, pixels."""
        w, h = self.width, self.height
        corners = np.array([[0.0, 0.0], [w, 0], [0, h], [w, h]])
        return float(np.abs(self.motion(row).to_raw(corners) - corners).max())


def _kept(luma: ByteArray) -> ByteArray:
    """Give a picture that keeps nothing else in memory: colours, or what lies around a part."""
    return luma if luma.base is None else luma.copy()
