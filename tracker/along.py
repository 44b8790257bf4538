"""A guessed path through a film: where the tail is expected in each frame, and the pixels there."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from tracker.footage import Box, Footage
from tracker.patches import Strip, cut_patch
from tracker.path import Guess, Perspective, Sky, fit
from tracker.refine import Pose, sectors_of
from tracker.tail import Look, Patch
from tracker.types import FloatArray

NOCK_M = 0.0083
"""Outer diameter of a nock (7 to 9 mm, common practice)."""

GRAVITY = 9.81

SHAFT_TRUE_S = 0.013
"""A recurve's arrow flies its own length in about this time (0.72 m at 55 m/s)."""

EXPOSURE_TRUE_S = 0.7e-3
"""Where to start for the exposure; it is fitted."""

UNLIKE = 0.5
"""Share of the nock's contrast by which vanes may differ from the drawn ones (tuned on rendered
films with vanes of several kinds)."""

LEAST_SIZE_PX = 0.3
"""Diameter of the nock below which it is not followed."""

FALL_SPREAD = 0.4
"""Share by which fall and size of the nock may disagree: nocks differ, and so do the sizes that
blurred pictures show (chosen here)."""


class Along:
    """What is believed of an arrow on its way: path, look, and where each frame shows it.

    Parameters
    ----------
    footage, sky, guess, xy_px, size_px, stretch
        See `tracker.settle.settle`.

    Attributes
    ----------
    n, step
        Frames of the window, and the usual time between them.
    path, depth
        Perspective path, and (n,) T along it.
    rows
        Frames in which the tail is looked for.
    expected
        (n, 2) where it is expected, reference coordinates.
    look
        Of the arrow.
    strip
        Scene beneath the path.
    """

    def __init__(
        self,
        footage: Footage,
        sky: Sky,
        guess: Guess,
        xy_px: FloatArray,
        size_px: FloatArray,
        stretch: float,
    ) -> None:
        self.footage, self.sky, self.guess = footage, sky, guess
        footage.widen()
        self.n = len(sky.time_s)
        self.step = float(np.median(np.diff(sky.time_s)))
        self.path = guess.path
        self.depth = np.maximum(sky.time_s - guess.path.singular_s, 1e-9)
        self.rows = np.arange(max(guess.first - 2, 0), min(guess.last + 4, self.n))
        self.rows = self.rows[self.depth[self.rows] > 0.7 * self.step]
        self.expected = self.expect(xy_px)
        # the fall calibrates focal length over speed, and that times a nock's width is its size
        self.fall_per_size = 0.5 * GRAVITY * stretch**2 / NOCK_M
        start = guess.path.y[2] / self.fall_per_size
        known = np.isfinite(size_px) & (size_px > 1.0)
        if known.any():
            shown = float(np.median(1.2 * size_px[known] * self.depth[known]))
            start = float(np.clip(start, 0.5 * shown, 1.5 * shown))
        self.look = Look(
            size_px_s=start,
            blur_px=0.9,
            ring=2.8,
            exposure_s=EXPOSURE_TRUE_S / stretch,
            shaft_s=SHAFT_TRUE_S / stretch,
            nock=200.0,
            shaft=45.0,
            vanes=4.0,
            unlike=UNLIKE,
        )
        # as far as it might still go
        box = self.box_from(int(self.rows[0]))
        self.strip = Strip(footage, box, footage.reference + 1)

    def expect(self, xy_px: FloatArray) -> FloatArray:
        """(n, 2) the path plus the swing that sightings show, carried on as it shrinks."""
        path = self.path.at(self.sky.time_s)
        swing = (xy_px - path) * self.depth[:, None]
        have = rows_of(swing)
        if not len(have):
            return path
        rows = np.arange(self.n)
        smooth = np.stack(
            [np.interp(rows, have, _median3(swing[have, axis])) for axis in (0, 1)], axis=1
        )
        return np.asarray(path + smooth / self.depth[:, None])

    def box_from(self, row: int) -> Box:
        """Part of the picture in which the arrow may still be seen from a row on."""
        seen = self.expected[row:]
        # no arrow is worth following once its nock is a third of a pixel wide
        near = self.look.size_px_s / self.depth[row:] > LEAST_SIZE_PX
        seen = seen[near] if near.sum() > 3 else seen
        reach = 24 + 3.2 * self.look.size_px_s / self.depth[row]
        low = np.floor(np.nanmin(seen, axis=0) - reach).astype(int)
        high = np.ceil(np.nanmax(seen, axis=0) + reach).astype(int)
        return int(low[0]), int(low[1]), int(high[0]), int(high[1])

    def patch(self, row: int, wide: bool = False) -> Patch | None:
        """Cut the pixels about the expected place, or more of them; None where that cannot be."""
        diameter = self.look.size_px_s / self.depth[row]
        if self.depth[row] <= 0 or diameter > 40:
            return None
        after, behind = min(row + 1, self.n - 1), max(row - 1, int(self.rows[0]))
        gap = self.sky.time_s[after] - self.sky.time_s[behind]
        speed = (self.expected[after] - self.expected[behind]) / gap
        if not np.isfinite(speed).all():
            return None
        trail = float(np.abs(speed).max()) * self.look.exposure_s
        half = int(np.ceil(1.5 * diameter + 3 * self.look.blur_px + 2 + trail / 2))
        if row > self.guess.last:
            half += 3
        if wide:
            half += int(np.ceil(1.0 + 0.5 * min(float(np.abs(self.ahead(row)).max()), 30.0)))
        return cut_patch(
            self.strip,
            row,
            self.expected,
            half,
            float(self.depth[row]),
            speed,
            # once it may stand in the target, only earlier frames are surely without it
            newest=max(row, self.guess.last),
        )

    def ahead(self, row: int) -> FloatArray:
        """(2,) from the nock to where the arrow's point is: the path a flight time ahead."""
        now = self.sky.time_s[row]
        both = self.path.at(np.array([now, now + self.look.shaft_s]))
        return np.asarray(both[1] - both[0])

    def start(self, row: int) -> Pose:
        """Give the pose to begin with: at the expected place."""
        raw = self.footage.motion(row).to_raw(self.expected[row : row + 1])[0]
        diameter = float(self.look.size_px_s / self.depth[row])
        return Pose.at(raw, sectors_of(diameter))

    def fitted(
        self, rows: npt.NDArray[np.int64], xy_px: FloatArray, start: Perspective | None
    ) -> Perspective | None:
        """Lay a path through places; how large the nock is tells how fast it falls."""
        due = self.look.size_px_s * self.fall_per_size
        told = None if self.sky.size_per_fall_s2 is None else (due, FALL_SPREAD * due)
        return fit(self.sky, rows, xy_px[rows], self.path.singular_s, start, told)

    def take(self, path: Perspective | None) -> None:
        """Go on with a better path; sizes go with its depth."""
        if path is None or path.singular_s > self.sky.time_s[self.rows[0]] - 0.7 * self.step:
            return
        before = float(np.median(self.depth[self.rows]))
        self.path = path
        self.depth = np.maximum(self.sky.time_s - path.singular_s, 1e-9)
        share = float(np.median(self.depth[self.rows])) / before
        self.look = replace(self.look, size_px_s=self.look.size_px_s * share)


def _median3(values: FloatArray) -> FloatArray:
    if len(values) < 3:
        return values
    padded = np.concatenate([values[:1], values, values[-1:]])
    return np.asarray(np.median(np.stack([padded[:-2], padded[1:-1], padded[2:]]), axis=0))


def rows_of(claimed: FloatArray) -> npt.NDArray[np.int64]:
    """Numbers of the rows that hold a place."""
    return np.nonzero(np.isfinite(claimed[:, 0]))[0]
