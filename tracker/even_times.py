"""Frame times rounded to a container's clock go in, the even times they were rounded from come out.

Matroska and WebM keep times in whole milliseconds, so that 240 frames a second stand there 4, 4, 5,
4, 4, 4 ... ms apart: an eighth of a frame off, and in an arrow's flight more than a pixel. Where
every time agrees with one even grid the grid's times are taken instead. Where a single one does
not, all are left as the file gives them: a rate that truly varies is not made even.
"""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import numpy.typing as npt

from tracker.types import FloatArray, IntArray

SLACK_TICKS = 0.05
"""Beyond half a tick, for times that were rounded to a finer clock first (chosen here)."""

LEAST_FRAMES = 12
"""Fewer agree with a grid too easily (chosen here)."""

BY_CHANCE = 1e-6
"""Greatest chance at which times that jump may agree with a grid by luck alone (chosen here)."""

EVEN_ALREADY_TICKS = 1e-3
"""Times so close to their grid were not rounded, and stay as they are to the last bit."""


def unrounded(ticks: npt.ArrayLike, tick_s: Fraction, hz: Fraction | None) -> FloatArray:
    """Take the rounding off frame times that belong to an even grid.

    Parameters
    ----------
    ticks
        (n,) presentation times, strictly increasing whole numbers of the container's units.
    tick_s
        Seconds per unit.
    hz
        Rate of the grid, gaps left out (`tracker.capture.Pace`); None if there is none.

    Returns
    -------
    numpy.ndarray
        (n,) seconds from the first frame: whole numbers of steps ``1 / hz`` if every time agrees
        with such a grid within half a tick, else the times of the container.

    Notes
    -----
    How far the grid's beginning lies from the first frame's rounded time is known to a tick at
    first, and better with every frame: its bounds are narrowed from frame to frame, and each frame
    must have a number, higher than the one before, that keeps them from crossing. If frames are
    missing, that number is free, and a time has the chance of tick over step to agree by luck.

    Examples
    --------
    >>> in_ms = np.round(np.arange(240) / 240 * 1000).astype(int)
    >>> float(np.abs(unrounded(in_ms, Fraction(1, 1000), Fraction(240)) * 240 % 1).max())
    0.0
    """
    whole = np.asarray(ticks, dtype=np.int64)
    whole = whole - whole[:1]
    rounded = np.asarray(whole * float(tick_s), dtype=np.float64)
    if hz is None or len(whole) < LEAST_FRAMES:
        return rounded
    step_ticks = float(1 / (hz * tick_s))
    numbers = _numbers(whole, step_ticks)
    if numbers is None:
        return rounded
    gaps = bool(numbers[-1] != len(numbers) - 1)
    if gaps and not len(numbers) * np.log(step_ticks) > -np.log(BY_CHANCE):
        return rounded
    even = np.asarray(numbers / float(hz), dtype=np.float64)
    if np.abs(even - rounded).max() <= EVEN_ALREADY_TICKS * float(tick_s):
        return rounded
    return even


def _numbers(ticks: IntArray, step_ticks: float) -> IntArray | None:
    """(n,) number of each frame on the grid, the first being 0; None if one frame is off it."""
    half = 0.5 + SLACK_TICKS
    low, high = -half, half
    numbers = np.zeros(len(ticks), dtype=np.int64)
    number = 0
    for i, tick in enumerate(ticks[1:].tolist(), start=1):
        # the least number that this frame can have, so that no frame is called missing in vain
        number = max(int(np.ceil((tick - half - high) / step_ticks)), number + 1)
        off = tick - number * step_ticks
        low, high = max(low, off - half), min(high, off + half)
        if low > high:
            return None
        numbers[i] = number
    return numbers
