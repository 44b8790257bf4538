"""A stretch of film goes in, what stands out in it and what may have flown there come out."""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np

from tracker.along import GRAVITY
from tracker.candidates import (
    SIZES_PX,
    Candidates,
    Picture,
    difference,
    find_candidates,
    in_reference,
    joined,
    make_plate,
)
from tracker.footage import Footage, FromRow
from tracker.path import Sky
from tracker.types import ByteArray, FloatArray

SEARCH_TRUE_S = 0.22
"""After a release so much is searched for a path; further on it is only followed."""

SPOT_M = 0.007
"""Spread of the spot that nock, vanes and shaft together make (chosen here)."""

LATEST_TRUE_S = 0.09
"""After this the arrow must have come out from before the archer (chosen here)."""

TAUS_TRUE_S = (0.012, 0.16)
"""Camera distance over arrow speed, from 0.5 m at 65 m/s to 8 m at 50 m/s."""

SLOWEST_RATIO = 32
"""Slow motion may be stored this many times stretched."""

AROUND_CLICK = 16
"""Frames looked at after a click that comes late."""

SEARCHERS = min(os.cpu_count() or 1, 4)
"""Frames searched at a time."""

STROKE_TRUE_S = 0.017
"""From the fingers' release to the string's: twice 0.48 m at 56 m/s."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Window:
    """A stretch of film to be searched.

    Attributes
    ----------
    first
        Number of its first frame.
    release
        Frame of the likely release.
    times_s
        (n,) container times of its frames.
    stretch
        Seconds of world per second of container; None if unknown.
    """

    first: int
    release: int
    times_s: FloatArray
    stretch: float | None

    @property
    def step_s(self) -> float:
        """Usual time between frames, container seconds."""
        return float(np.median(np.diff(self.times_s)))

    @property
    def true_per_clock(self) -> float:
        """Seconds of world per second of container; as if at 240 frames a second if unknown.

        The guess sets only how far is searched, never a time that is reported.
        """
        return self.stretch if self.stretch is not None else 1 / (240 * self.step_s)


@dataclass(frozen=True, kw_only=True, eq=False)
class Seen:
    """What was seen in a window before anything is concluded.

    Attributes
    ----------
    footage
        Its frames and the camera's motion.
    candidates
        Of the frames that may show a flight.
    later
        Of further frames up to a click; None if there are none.
    reference_frame
        Number of the frame whose coordinates are used.
    reduce
        How many times smaller the searched pictures were.
    plate
        (h, w) full-size scene without the arrow.
    """

    footage: Footage
    candidates: Candidates
    later: Candidates | None
    reference_frame: int
    reduce: int
    plate: ByteArray

    @property
    def shape(self) -> tuple[int, int]:
        """(height, width) of the full picture."""
        return self.footage.height, self.footage.width


def look(window: Window, fetch: FromRow, clicked_row: int | None = None) -> Seen:
    """Stabilise the frames and find the candidates in those that may show a flight.

    Those around a click are looked at too, even if they come late.
    """
    footage = Footage(fetch, max(0, window.release - window.first - 2), len(window.times_s))
    reference, reduce = footage.reference, footage.search_reduce

    def still(k: int) -> Picture:
        return in_reference(footage.searched(k), footage.motion(k), reduce)

    true_step = window.step_s * window.true_per_clock
    searched = window.release - window.first + round(SEARCH_TRUE_S / true_step)
    flown = range(reference + 1, min(footage.count, searched))
    before = list(footage.quiet_rows)
    during = list(range(reference + 3, flown.stop, max(1, (flown.stop - reference) // 12)))
    plate = make_plate([still(k) for k in before], [still(k) for k in during])

    def in_one(k: int) -> Candidates:
        margin = 3 + int(np.ceil(footage.moved_px(k) / reduce))
        excess = difference(still(k), plate, margin)
        return find_candidates(excess, window.first + k, reduce)

    def stands_out(rows: range) -> list[Candidates]:
        for k in rows:  # each begins at that of the frame before
            footage.motion(k)
        # the picture library lets go of the interpreter, so that several are searched at a time
        with ThreadPoolExecutor(max_workers=SEARCHERS) as pool:
            return list(pool.map(in_one, rows))

    parts = stands_out(flown)
    end = 0 if clicked_row is None else min(clicked_row + AROUND_CLICK, footage.count)
    later = stands_out(range(flown.stop, end))
    footage.drop_searched()
    return Seen(
        footage=footage,
        candidates=joined(parts),
        later=joined(later) if later else None,
        reference_frame=window.first + reference,
        reduce=reduce,
        plate=footage.reference_luma,
    )


def sky_of(window: Window, scene: Seen) -> Sky:
    """Bound what may have flown: camera distance, speed, lens, swing."""
    step = window.step_s
    row = window.release - window.first
    release = float(window.times_s[row]) + STROKE_TRUE_S / window.true_per_clock
    late = row + round(LATEST_TRUE_S / window.true_per_clock / step)
    long_side = max(scene.shape)
    # F / v from 0.3 picture widths at 110 m/s to 5 at 30 m/s, times g / 2
    fall = (4.9 * 0.3 * long_side / 110, 4.9 * 5.0 * long_side / 30)
    if window.stretch is None:
        taus = np.geomspace(1.5 * step, 150 * step, 22)
        fall = (fall[0] / SLOWEST_RATIO, fall[1])
    else:
        taus = np.geomspace(TAUS_TRUE_S[0], TAUS_TRUE_S[1], 16) / window.stretch
        fall = (fall[0] * window.stretch, fall[1] * window.stretch)
    return Sky(
        time_s=window.times_s,
        first_frame=window.first,
        singular_s=release - taus,
        latest_start=late,
        fall_px_s=fall,
        swing_px=0.012 * long_side,
        swing_at_s=0.03 / window.true_per_clock,
        spot_px=0.75 * scene.reduce,
        size_per_fall_s2=None
        if window.stretch is None
        else SPOT_M / (0.5 * GRAVITY * window.stretch**2),
        sizes_px=(SIZES_PX[0] * scene.reduce, SIZES_PX[-1] * scene.reduce),
    )
