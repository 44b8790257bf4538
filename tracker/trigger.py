"""When something sudden happened: every frame goes by once, likely moments of release come out.

A release is the one sudden thing in a shot: an archer at full draw stands still, then within two
frames string, bow, hand and arrow move. Only block means of each frame are looked at, so frames in
which nothing happens cost little. The moments are suggestions; whether an arrow flew is for the
path to say.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from tracker.lighting import Lighting
from tracker.types import ByteArray, FloatArray

BLOCKS_ACROSS = 120
"""Blocks along the longer side of the picture (chosen here)."""

FAR_LESS = 0.12
"""Share of the most sudden moment below which a moment is not tried (chosen here)."""

SUDDEN, LESS_SUDDEN = 3.0, 1.0
"""How far a moment stands out of the two dozen frames before it, in units of their spread, to be a
release, and to be tried where no arrow flew after any of those: a phone that shakes in the hand
changes every edge of the scenery all the time (chosen here; of 60 hard films, four releases lie
between the two)."""

BUSIEST = 0.004
"""Share of blocks, the busiest, whose change counts (chosen here)."""

APART = 6
"""Frames by which moments lie apart: an archer may move just before the release (chosen here)."""

LEVELS = 256
"""Of brightness."""

USUAL, STAYS = 24, 4
"""Frames before a moment that tell what is usual, and from it on that must be busier."""

BEGINS, ENDS = 2, 3
"""Frames at either end of a film in which nothing can be called sudden."""


class Activity:
    """Collects how much the busiest blocks of each frame changed.

    Examples
    --------
    >>> activity = Activity()
    >>> for busy in (10, 10, 60):
    ...     luma = np.full((60, 80), 10, dtype=np.uint8)
    ...     luma[:5, :5] = busy
    ...     activity.add(luma)
    >>> activity.change()[2] > activity.change()[1]
    True
    """

    def __init__(self) -> None:
        self._before: ByteArray | None = None
        self._light: Lighting | None = None
        self._change: list[float] = []

    def add(self, luma: ByteArray) -> None:
        """Take the next frame, (height, width)."""
        h, w = luma.shape
        block = max(1, max(h, w) // BLOCKS_ACROSS)
        # a few rows are enough for block means, and read a fraction of the memory; whole blocks
        # of them are averaged on the library's fast road
        step = max(1, block // 4)
        rows = luma[: h // block * block : step, : w // block * block]
        blocks = (w // block, rows.shape[0] // max(1, block // step))
        means = np.asarray(cv2.resize(rows, blocks, interpolation=cv2.INTER_AREA), dtype=np.uint8)
        light = Lighting(means)
        if self._before is None:
            self._change.append(0.0)
        else:
            before = light.steadied(self._before, own=self._light)
            # counting whole grey levels is far quicker than looking for the largest of them
            counts = np.bincount(cv2.absdiff(means, before).ravel(), minlength=LEVELS)
            top = max(4, round(BUSIEST * means.size))
            of_busiest = np.diff(np.minimum(np.cumsum(counts[::-1]), top), prepend=0)[::-1]
            self._change.append(float(of_busiest @ np.arange(LEVELS)) / top)
        self._before, self._light = means, light

    def change(self) -> FloatArray:
        """(n,) mean change of the busiest blocks since the frame before, grey levels."""
        return np.array(self._change)


def suddenness(change: FloatArray) -> FloatArray:
    """Tell how far each moment stands out of those before it, the busiest blocks staying so.

    A key frame of the compression changes every block for one frame only: that is not sudden.

    Parameters
    ----------
    change
        (n,) of `Activity.change`.

    Returns
    -------
    numpy.ndarray
        (n,) in units of the spread of the two dozen frames before; 0 at either end.
    """
    n = len(change)
    onset = np.zeros(n)
    if n < BEGINS + ENDS:
        return onset
    # the first change is none
    known = np.concatenate([np.full(USUAL, np.nan), change[1:]])
    before = sliding_window_view(known, USUAL)[1 : n - ENDS - 1]
    after = sliding_window_view(change, STAYS)[BEGINS : n - ENDS]
    usual = np.nanmedian(before, axis=1)
    off = np.nanmedian(np.abs(before - usual[:, None]), axis=1)
    spread = 1.4826 * off + 0.15 + 0.1 * usual
    onset[BEGINS : n - ENDS] = (np.median(after, axis=1) - usual) / spread
    return onset


def likely_releases(
    change: FloatArray, onset: FloatArray, *, least: float = SUDDEN, most: int = 12
) -> list[int]:
    """Find where the busiest blocks suddenly become busier than they were.

    Parameters
    ----------
    change
        (n,) of `Activity.change`.
    onset
        (n,) its `suddenness`.
    least
        How far the least sudden one must stand out; with less, others follow the same ones.
    most
        How many moments to return at most.

    Returns
    -------
    list of int
        Frame numbers, the most sudden first; moments far less sudden than that are left out.
    """
    tried: list[int] = []
    found: list[int] = []
    floor = max(least, FAR_LESS * float(onset.max(initial=0.0)))
    for k in np.argsort(-onset):
        if onset[k] < floor or len(tried) == most:
            break
        if _far(int(k), tried):
            tried.append(int(k))
            begun = _beginning(change, int(k))
            if _far(begun, found):
                found.append(begun)
    return found


def _far(moment: int, others: list[int]) -> bool:
    return all(abs(moment - other) > APART for other in others)


def _beginning(change: FloatArray, k: int) -> int:
    """Go back to the first frame of a rise that is in progress at k."""
    before = change[max(1, k - 24) : max(k - 6, 2)]
    usual = float(np.median(before)) if len(before) else 0.0
    top = float(change[k : k + 4].max())
    while k > 1 and change[k - 1] > usual + 0.25 * (top - usual):
        k -= 1
    return k
