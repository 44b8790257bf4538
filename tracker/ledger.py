"""What the frames of a film tell as they come by: times, key frames, damage, repeats.

Kept in a few bytes a frame, so that a long film costs no more memory than a short one. What the
pictures show is not known here.
"""

from __future__ import annotations

from array import array
from bisect import bisect_left, bisect_right
from fractions import Fraction

import av
import cv2
import numpy as np

from tracker.even_times import unrounded
from tracker.types import ByteArray, FloatArray, InputError, Message, message

FILLED_TIMES = 0.05
"""Share of frames without a time of their own that a film may have (chosen here)."""

DAMAGED_FRAMES = 0.02
"""Share of damaged frames that a film may have (chosen here)."""

LONGEST_TICKS, LATEST_TICK = 1 << 52, 1 << 62
"""Beyond these, times in ticks are no longer exact in floating point or in 64 bits."""

REACH = 4
"""Frames to each side in which movement is looked for: enough for a film stored fivefold."""

BAND_ROWS = 32
"""Large pictures are compared in bands of this many rows, one in four. Single rows would not do:
what creeps down a row a frame meets them only now and then."""

LIVELY = 0.25
"""Share of the liveliest change that a frame needs around it to tell anything (chosen here)."""

LEAST_CHANGE = 0.1
"""Mean squared change, in levels, below which compression alone may be at work (chosen here)."""

LEAST_FRAMES = 12
"""Lively frames without which nothing is said (chosen here)."""

STALE = 0.1
"""A frame repeats the one before if it changed this little beside those around it (chosen here)."""

REPEATED = 0.2
"""Share of repeats above which software made them; a camera's own are rare (chosen here)."""


class Ledger:
    """Times and faults of the frames, in the order in which they were decoded.

    Parameters
    ----------
    name
        Of the file, for messages.
    tick
        Seconds per unit of the container's clock.
    """

    def __init__(self, name: str, tick: Fraction) -> None:
        self._name = name
        self._tick = tick
        self._pts = array("q")
        self._keys = array("q")
        self._change = array("d")
        self._last: ByteArray | None = None
        self._filled = 0
        self._damaged = 0
        self._in_doubt = False

    def __len__(self) -> int:
        return len(self._pts)

    @property
    def times_s(self) -> FloatArray:
        """(n,) presentation times from the first frame, as the file rounds them."""
        ticks = np.array(self._pts, dtype=np.int64)
        return np.asarray((ticks - ticks[:1]) * float(self._tick), dtype=np.float64)

    def even_times_s(self, hz: Fraction | None) -> FloatArray:
        """Give the times without the clock's rounding, where they are even at this rate.

        Parameters
        ----------
        hz
            Rate of the frame times, gaps left out.

        Returns
        -------
        numpy.ndarray
            (n,) seconds from the first frame.
        """
        return unrounded(self._pts, self._tick, hz)

    def add(self, picture: av.VideoFrame, luma: ByteArray) -> float:
        """Enter the next frame.

        Parameters
        ----------
        picture
            As decoded.
        luma
            Its brightness.

        Returns
        -------
        float
            Its time in seconds from the first frame.

        Raises
        ------
        InputError
            If times are missing altogether, run backwards, or are no clock's.
        """
        index = len(self._pts)
        pts = self._time_of(picture, index)
        if index and pts <= self._pts[-1]:
            raise InputError("film.times_backwards", frame=index)
        first = self._pts[0] if index else pts
        if pts - first > LONGEST_TICKS or abs(pts) > LATEST_TICK:
            step_s = float((pts - first) * self._tick) / max(index, 1)
            raise InputError("film.pace_absurd", step_s=step_s)
        self._pts.append(pts)
        if picture.key_frame:
            self._keys.append(index)
            self._in_doubt = False
        # What is predicted from a damaged picture is damaged, up to the next one that stands alone.
        self._in_doubt |= picture.is_corrupt
        self._damaged += self._in_doubt
        if self._last is not None:
            self._change.append(_mean_square_change(luma, self._last))
        self._last = luma
        return (pts - self._pts[0]) * float(self._tick)

    def key_frame_before(self, index: int) -> int:
        """Find the last frame up to `index` at which decoding can start."""
        at = bisect_right(self._keys, index)
        return self._keys[at - 1] if at else 0

    def pts_of(self, index: int) -> int:
        """Look up a frame's time in units of the container's clock."""
        return self._pts[index]

    def index_of(self, pts: int | None) -> int | None:
        """Look up the frame that has exactly this time; None if there is none."""
        if pts is None:
            return None
        index = bisect_left(self._pts, pts)
        return index if index < len(self._pts) and self._pts[index] == pts else None

    def repeats(self) -> float:
        """Share of the frames that only repeat the one before, in the liveliest part of the film.

        Returns
        -------
        float
            0 to 1; 0 also where too little moves to tell. Twofold storing gives 1/2, fourfold 3/4.
        """
        change = np.array(self._change, dtype=np.float64)
        if len(change) < LEAST_FRAMES:
            return 0.0
        windows = np.lib.stride_tricks.sliding_window_view(np.pad(change, REACH), 2 * REACH + 1)
        # Movement on both sides: before a burst, or after one, a scene may well stand still.
        around = np.minimum(windows[:, :REACH].max(axis=1), windows[:, -REACH:].max(axis=1))
        lively = around >= max(LIVELY * float(np.percentile(around, 95)), LEAST_CHANGE)
        if np.count_nonzero(lively) < LEAST_FRAMES:
            return 0.0
        return float(np.mean(change[lively] <= STALE * around[lively]))

    def notes(self, file_hz: Fraction | None) -> tuple[Message, ...]:
        """Say what a person should know; refuse what cannot be trusted.

        Parameters
        ----------
        file_hz
            Rate at which the frames were taken or, if unknown, play.

        Returns
        -------
        tuple of Message
            Times filled in, frames damaged, frames repeated.

        Raises
        ------
        InputError
            If too many frames have no time or are damaged.
        """
        n, notes = len(self), []
        if self._filled > FILLED_TIMES * n:
            raise InputError("film.no_times", path=self._name)
        if self._filled:
            notes.append(message("film.times_filled", filled=self._filled, frames=n))
        if self._damaged > DAMAGED_FRAMES * n:
            raise InputError("film.damaged_much", path=self._name, damaged=self._damaged, frames=n)
        if self._damaged:
            notes.append(message("film.damaged_frames", damaged=self._damaged, frames=n))
        repeats = self.repeats()
        if file_hz is not None and repeats > REPEATED:
            # Recompression hides some repeats, so the share falls short of a whole number of times.
            times = max(round(1 / max(1 - repeats, 0.1)), 2)
            stored_hz, true_hz = round(float(file_hz), 2), round(float(file_hz / times), 2)
            notes.append(message("film.doubled_frames", file_hz=stored_hz, true_hz=true_hz))
        return tuple(notes)

    def _time_of(self, picture: av.VideoFrame, index: int) -> int:
        """Time of a frame; where the file gives none, its neighbours' step after the last."""
        if picture.pts is not None:
            return picture.pts
        if index < 2:
            raise InputError("film.no_times", path=self._name)
        steps = np.diff(np.array(self._pts[-32:], dtype=np.int64))
        self._filled += 1
        return self._pts[-1] + max(round(float(np.median(steps))), 1)


def _mean_square_change(luma: ByteArray, before: ByteArray) -> float:
    """Mean square of the brightness steps between two pictures, in part if they are large."""
    height, width = luma.shape
    stride = 4 * BAND_ROWS if height >= 16 * BAND_ROWS else BAND_ROWS
    total, rows = 0.0, 0
    for top in range(0, height, stride):
        band = slice(top, min(top + BAND_ROWS, height))
        total += float(cv2.norm(luma[band], before[band], cv2.NORM_L2SQR))
        rows += band.stop - band.start
    return total / float(rows * width)
