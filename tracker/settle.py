"""A guessed path goes in, the nock placed in every frame of the flight comes out, or a refusal.

The look of the arrow is learnt on the frames in which it is large, the nock placed in all, and
each place kept only where the pixels speak for it. The claimed errors are held against the scatter
of the places themselves, since compression leaves errors that no pixel's noise tells of.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
import numpy.typing as npt
from scipy.ndimage import median_filter

from tracker.footage import Box, Footage
from tracker.landing import landing
from tracker.patches import Strip, cut_patch
from tracker.path import Guess, Perspective, Sky, fit
from tracker.refine import Placed, Pose, fit_look, patch_cost, place, sectors_of
from tracker.strays import STEADY, Course
from tracker.tail import Look, Patch, blurred_disc
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

CLEAR_CONTRAST = 4.0
"""Standard errors of contrast from which a place is claimed (chosen here)."""

LEAST_EXPLAINED = 0.25
"""Share of what changed around a place that the arrow must explain: an edge of the scenery that the
camera's shake left over looks like a tail to no more than that. On filmed flights it costs 3 to 5
places of 100 that were right and spares two thirds of those that were not."""

SURE_CONTRAST, LEAST_SHOWN = 10.0, 0.6
"""Contrast from which it is known how much of a tail is seen, and the share of the usual below
which it is half hidden: so are one in 500 of the right places on filmed flights, and on clear films
one in seven of those that are off by more than half a nock."""

LEAST_SIZE_PX = 0.3
"""Diameter of the nock below which it is not followed."""

STRETCH = 3
"""Frames by which a path is followed on at a time."""

REFIT_EVERY = 12
"""Frames after which the path is fitted again while it is followed on."""

ENOUGH_STILL = 10
"""Frames of standstill after which an arrow is not followed on."""

LOST_FRAMES = 14
"""After so many frames without a place the arrow is given up."""

EXPLAINED = 0.12
"""Share of what changed that a bright nock may leave for a dark one not to be tried."""

WIDEST_PX, WIDEST_SHARE = 1.0, 0.15
"""Standard error beyond which a place is not claimed: so many pixels, or this share of the nock's
diameter, whichever is more (chosen here)."""

VAGUE_PX = 0.7
"""Standard error of a finished place beyond which it is not claimed, unless the nock is large: so
small a nock can be anywhere on another edge near by (chosen here)."""

MOST_MISSED = 5
"""Frames without a place after which the arrow is not followed back further (chosen here)."""

AGAIN_PX, AGAIN_SHARE = 0.15, 0.03
"""A place is found again unless its neighbours put it so near, in pixels and in widths of the nock
(chosen here)."""

MOST_VAGUE = 0.4
"""Share of the places that may be dropped for their scatter (chosen here)."""

PLAIN_FROM_PX, PLAIN_ALIKE, PLAIN_MISFIT = 3.5, 0.15, 1.5
"""Diameter from which a nock can be told by its pixels alone, and how near to the usual its
brightness and what is left unexplained must be for that (chosen here)."""

CLEARLY = 0.93
"""Share of what another look leaves below which a dark nock is believed (tuned on rendered
films)."""

NOCK_BEHIND = 1.2
"""Widths of the nock by which the end of the shaft lies before it, about."""

SEEN_LEVEL, SHAFT_LEVELS = 160.0, 20.0
"""Grey level from which a nock is not taken for the shaft's end, and difference from the shaft's
below which it may be just that (chosen here)."""

BEHIND, NO_NOCK = 0.97, 1.12
"""Share of what the first look leaves below which the nock is believed to lie behind; and where
what was found is as dark as the shaft, for no nock is sold so (tuned on rendered films)."""

LEARN_FROM, FEWEST_LEARNT = 9, 5
"""Frames the look is learnt from, and without which it is not (chosen here)."""

ALIKE_LEVELS = 45.0
"""Grey levels by which a nock may seem brighter or darker from frame to frame (chosen here)."""

FALL_SPREAD = 0.4
"""Share by which fall and size of the nock may disagree: nocks differ, and so do the sizes that
blurred pictures show (chosen here)."""

SHAPE_SHARE = 0.02
"""Error of the nock's place from vanes unlike the model's, as a share of its diameter."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Settled:
    """The nock in every frame of a window.

    Attributes
    ----------
    xy_px, sigma_px
        (n, 2) in reference coordinates; NaN where not claimed.
    spotted
        (n,) the nock stood out, though its place may not be claimed.
    size_px
        (n,) nock's diameter, NaN where not claimed.
    contrast, amplitude
        (n,) nock's contrast in standard errors and as a share of the look's; NaN where not tried.
    explained, misfit
        (n,) share of what changed around the tail that the model explains, and chi-square per pixel
        that it leaves; NaN where not tried.
    depth_s
        (n,) T.
    look
        Of the arrow.
    path
        Perspective through the places.
    """

    xy_px: FloatArray
    sigma_px: FloatArray
    spotted: npt.NDArray[np.bool_]
    size_px: FloatArray
    contrast: FloatArray
    amplitude: FloatArray
    explained: FloatArray
    misfit: FloatArray
    depth_s: FloatArray
    look: Look
    path: Perspective


@dataclass(frozen=True, kw_only=True, eq=False)
class _StandsOut:
    """Discs of the nock's size that stand out.

    Attributes
    ----------
    spots
        (n, 2) of one smooth path through them, reference coordinates.
    level
        Their brightness.
    steady
        (n,) where one lies as its neighbours do, about as bright.
    """

    spots: FloatArray
    level: float
    steady: npt.NDArray[np.bool_]


@dataclass(frozen=True, kw_only=True, eq=False)
class _Trial:
    """A look fitted to some patches, the poses under it, and what it leaves in each patch.

    `spots` are the places in all frames from which it began, (n, 2) reference coordinates.
    """

    look: Look
    poses: list[Pose]
    costs: FloatArray
    spots: FloatArray


def settle(
    footage: Footage, sky: Sky, guess: Guess, xy_px: FloatArray, size_px: FloatArray, stretch: float
) -> Settled | None:
    """Place the nock along a guessed path.

    Parameters
    ----------
    footage
        The frames.
    sky
        Their times, and tolerances.
    guess
        The path.
    xy_px, size_px
        (n, 2), (n,) candidates taken by the guess in each frame, NaN where none.
    stretch
        True seconds per second of the window's clock, a guess where unknown.

    Returns
    -------
    Settled or None
        None where too little of the path can be seen at all.
    """
    work = _Work(footage, sky, guess, xy_px, size_px, stretch)
    if not work.learn():
        return None
    work.place_all(rounds=3)
    work.smooth_and_repeat()
    work.follow_back()
    work.follow_on()
    return work.result()


class _Work:
    """The steps of `settle` with what they share."""

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
        self.expected = self._expect(xy_px)
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
        self.strip = self._cut()
        self.patches: dict[int, Patch] = {}
        self.placed: dict[int, Placed] = {}

    def _expect(self, xy_px: FloatArray) -> FloatArray:
        """(n, 2) the path plus the swing that sightings show, carried on as it shrinks."""
        path = self.path.at(self.sky.time_s)
        swing = (xy_px - path) * self.depth[:, None]
        have = np.nonzero(np.isfinite(swing[:, 0]))[0]
        if not len(have):
            return path
        rows = np.arange(self.n)
        smooth = np.stack(
            [np.interp(rows, have, _median3(swing[have, axis])) for axis in (0, 1)], axis=1
        )
        return np.asarray(path + smooth / self.depth[:, None])

    def _cut(self) -> Strip:
        """Cut the strip along the path, as far as it might still go."""
        return Strip(self.footage, self._box_from(int(self.rows[0])), self.footage.reference + 1)

    def _box_from(self, row: int) -> Box:
        """Part of the picture in which the arrow may still be seen from a row on."""
        seen = self.expected[row:]
        # no arrow is worth following once its nock is a third of a pixel wide
        near = self.look.size_px_s / self.depth[row:] > LEAST_SIZE_PX
        seen = seen[near] if near.sum() > 3 else seen
        reach = 24 + 3.2 * self.look.size_px_s / self.depth[row]
        low = np.floor(np.nanmin(seen, axis=0) - reach).astype(int)
        high = np.ceil(np.nanmax(seen, axis=0) + reach).astype(int)
        return int(low[0]), int(low[1]), int(high[0]), int(high[1])

    def _patch(self, row: int, wide: bool = False) -> Patch | None:
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
            half += int(np.ceil(1.0 + 0.5 * min(float(np.abs(self._ahead(row)).max()), 30.0)))
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

    def _ahead(self, row: int) -> FloatArray:
        """(2,) from the nock to where the arrow's point is: the path a flight time ahead."""
        now = self.sky.time_s[row]
        both = self.path.at(np.array([now, now + self.look.shaft_s]))
        return np.asarray(both[1] - both[0])

    def _start(self, row: int, sectors: int | None = None) -> Pose:
        raw = self.footage.motion(row).to_raw(self.expected[row : row + 1])[0]
        diameter = float(self.look.size_px_s / self.depth[row])
        count = sectors_of(diameter) if sectors is None else sectors
        return Pose.at(raw, count)

    def learn(self) -> bool:
        """Fit the look on the frames in which the tail is neither huge nor tiny.

        A bright nock before a dark shaft, or a dark one, is tried both ways: whichever leaves
        less of the same pixels unexplained is kept.
        """
        wide = {
            row: p for row in self.rows.tolist() if (p := self._patch(row, wide=True)) is not None
        }
        if len(wide) < FEWEST_LEARNT:
            return False
        bright, dark = self._stand_out(wide, 1.0), self._stand_out(wide, -1.0)
        if max(bright.steady.sum(), dark.steady.sum()) < FEWEST_LEARNT:
            return False
        rows = self._lessons(list(wide), bright.steady, dark.steady)
        patches = [wide[row] for row in rows]
        trials: list[_Trial] = []
        for stands in (bright, dark):
            look = replace(self.look, nock=stands.level)
            trials.append(self._trial(patches, look, stands.spots))
            bare = [float((p.weight * (p.picture - p.scene) ** 2).mean()) for p in patches]
            if np.median((trials[-1].costs - 0.5) / np.array(bare)) < EXPLAINED:
                break
        # nocks are sold to be seen: a dark one must explain the pixels clearly better
        best = trials[-1] if _worse(trials[-1], trials[0]) < CLEARLY else trials[0]
        if best.look.nock < SEEN_LEVEL:
            shafts_end = abs(best.look.nock - best.look.shaft) < SHAFT_LEVELS
            behind = self._behind(patches, best)
            if _worse(behind, best) < (NO_NOCK if shafts_end else BEHIND):
                best = behind
        self.look, spots = best.look, best.spots.copy()
        for row, pose in zip(rows, best.poses, strict=True):
            spots[row] = self.footage.motion(row).to_reference(pose.xy_px[None])[0]
        self.expected = self._expect(spots)
        return True

    def _trial(self, patches: list[Patch], look: Look, spots: FloatArray) -> _Trial:
        """Fit a look to patches from where the nock may be, (n, 2) reference coordinates."""
        aheads = [self._ahead(patch.row) for patch in patches]
        poses = [
            Pose.at(self.footage.motion(p.row).to_raw(spots[p.row : p.row + 1])[0], 1)
            for p in patches
        ]
        look, poses = fit_look(patches, look, poses, aheads, rounds=4)
        costs = [patch_cost(p, look, q, a) for p, q, a in zip(patches, poses, aheads, strict=True)]
        return _Trial(look=look, poses=poses, costs=np.array(costs) + 0.5, spots=spots)

    def _behind(self, patches: list[Patch], trial: _Trial) -> _Trial:
        """Try whether what was taken for the nock is the shaft, and the nock lies behind it.

        Where a dull nock is about as bright as the wall, the end of the shaft stands out more.
        """
        spots, levels = trial.spots.copy(), []
        for row in rows_of(spots).tolist():
            spots[row] -= self._back(row, trial.look)
        for patch, pose in zip(patches, trial.poses, strict=True):
            at = pose.xy_px - self._back(patch.row, trial.look)
            spots[patch.row] = self.footage.motion(patch.row).to_reference(at[None])[0]
            column, line = np.round(at - (patch.x_px[0], patch.y_px[0])).astype(int).tolist()
            if 0 <= column < len(patch.x_px) and 0 <= line < len(patch.y_px):
                levels.append(float(patch.picture[line, column]))
        level = float(np.median(levels)) if levels else trial.look.nock
        return self._trial(patches, replace(trial.look, nock=level), spots)

    def _back(self, row: int, look: Look) -> FloatArray:
        """(2,) from the nock to the end of the shaft before it."""
        ahead = self._ahead(row)
        width = look.size_px_s / self.depth[row]
        return np.asarray(NOCK_BEHIND * width * ahead / max(float(np.hypot(*ahead)), 1e-6))

    def _lessons(self, rows: list[int], *steady: npt.NDArray[np.bool_]) -> list[int]:
        """Choose rows in which the nock is of middling size, by the first that tells enough.

        A disc that stands out in one frame alone is part of bow, archer or scene.
        """
        diameter = self.look.size_px_s / self.depth
        rows = sorted(rows, key=lambda row: abs(np.log(diameter[row] / 4.0)))
        for one in steady:
            told = [row for row in rows if one[row]]
            if len(told) >= FEWEST_LEARNT:
                rows = told
                break
        return rows[: 2 * LEARN_FROM : 2] if len(rows) >= 2 * LEARN_FROM else rows[:LEARN_FROM]

    def _stand_out(self, wide: dict[int, Patch], sign: float) -> _StandsOut:
        """Find in each patch the disc of the expected size that stands out most, bright or dark."""
        found = np.full((self.n, 2), np.nan)
        levels: dict[int, float] = {}
        strength: dict[int, float] = {}
        for row, patch in wide.items():
            radius = 0.5 * self.look.size_px_s / patch.depth_s
            score, change = self._discs(patch, sign)
            # a path through the middles of dark shafts has the nock behind it
            at = self.footage.motion(row).to_raw(self.expected[row : row + 1])[0]
            ahead = self._ahead(row)
            far = _from_segment(patch, at - 0.6 * ahead, at + 0.2 * ahead)
            score = np.where(far < 2.0 + 2.0 * radius, score, 0)
            iy, ix = np.unravel_index(int(score.argmax()), score.shape)
            raw = np.array([[patch.x_px[ix], patch.y_px[iy]]])
            found[row] = self.footage.motion(row).to_reference(raw)[0]
            strength[row] = float(score[iy, ix])
            levels[row] = float(patch.scene[iy, ix] + sign * change[iy, ix])
        rows = rows_of(found)
        path = self._fitted(rows, found, None)
        if path is None or path.singular_s > self.sky.time_s[rows[0]] - 0.7 * self.step:
            path = self.path
        swing = (found - path.at(self.sky.time_s)) * self.depth[:, None]
        diameter = self.look.size_px_s / self.depth
        near = np.linalg.norm(swing, axis=1) < (2.0 + 1.2 * diameter) * self.depth
        found[~near] = np.nan
        steady = np.zeros(self.n, dtype=np.bool_)
        rows = rows_of(found)
        if len(rows) >= FEWEST_LEARNT:
            leap = swing[rows] - median_filter(swing[rows], size=(5, 1), mode="nearest")
            leap_px = np.linalg.norm(leap, axis=1) / self.depth[rows]
            level = np.array([levels[row] for row in rows])
            alike = np.abs(level - np.median(level)) < ALIKE_LEVELS
            clear = np.array([strength[row] for row in rows]) > CLEAR_CONTRAST
            steady[rows] = (leap_px < 0.5 + 0.2 * diameter[rows]) & alike & clear
        told = rows_of(np.where(steady[:, None], found, np.nan)) if steady.any() else list(levels)
        return _StandsOut(
            spots=np.where(np.isfinite(found), found, path.at(self.sky.time_s)),
            level=float(np.clip(np.median([levels[row] for row in told]), 0, 255)),
            steady=steady,
        )

    def _discs(self, patch: Patch, sign: float) -> tuple[FloatArray, FloatArray]:
        """How much a disc of the nock's size stands out at each pixel, and by how many levels."""
        radius = 0.5 * self.look.size_px_s / patch.depth_s
        reach = int(np.ceil(radius + 2))
        y, x = np.mgrid[-reach : reach + 1, -reach : reach + 1]
        disc = blurred_disc(np.hypot(x, y), radius, self.look.blur_px).astype(np.float32)
        data = (patch.picture - patch.scene).astype(np.float32)
        weight = patch.weight.astype(np.float32)
        signal = cv2.filter2D(sign * data * weight, -1, disc, borderType=cv2.BORDER_CONSTANT)
        power = cv2.filter2D(weight, -1, disc**2, borderType=cv2.BORDER_CONSTANT)
        return np.asarray(np.maximum(signal, 0) / np.sqrt(power)), np.asarray(signal / power)

    def _strongest(self, patch: Patch, start: Pose) -> Pose:
        """Begin where the nearby pixels stand out most, so that a stopped arrow is seen to stop."""
        sign = 1.0 if self.look.nock > float(patch.scene.mean()) else -1.0
        score, _ = self._discs(patch, sign)
        diameter = self.look.size_px_s / patch.depth_s
        far = _from_segment(patch, start.xy_px, start.xy_px)
        score = np.where(far < 4.0 + 2.0 * diameter, score, 0)
        iy, ix = np.unravel_index(int(score.argmax()), score.shape)
        return replace(start, xy_px=np.array([patch.x_px[ix], patch.y_px[iy]]))

    def place_all(self, rounds: int = 6) -> None:
        """Place the nock in every frame in reach."""
        self.placed.clear()
        self._place(self.rows.tolist(), rounds)

    def _place(self, rows: list[int], rounds: int = 6) -> None:
        for row in rows:
            patch = self._patch(row)
            if patch is not None:
                self.patches[row] = patch
                start = self._start(row)
                if row > self.guess.last:
                    start = self._strongest(patch, start)
                self.placed[row] = place(patch, self.look, start, self._ahead(row), rounds)

    def smooth_and_repeat(self) -> None:
        """Expect the nock where its neighbours put it, and place it again."""
        xy, sigma, _, _ = self._claimed()
        xy[~np.isin(np.arange(self.n), self._course(xy, sigma).kept())] = np.nan
        if np.isfinite(xy[:, 0]).sum() < 8:
            return
        rows = np.nonzero(np.isfinite(xy[:, 0]))[0]
        self._take(self._fitted(rows, xy, self.path))
        self.expected = self._expect(xy)
        off = np.linalg.norm(xy - self.expected, axis=1)
        near = off < AGAIN_PX + AGAIN_SHARE * self.look.size_px_s / self.depth
        self._place([row for row in self.rows.tolist() if not near[row]], rounds=6)

    def follow_back(self) -> None:
        """Follow the arrow towards the release, each frame expected from the later ones.

        There it comes out from behind bow and archer, and what moves beside it is near.
        """
        xy, sigma, _, _ = self._claimed()
        course = self._course(xy, sigma)
        path, swing = self.path.at(self.sky.time_s), course.swing.copy()
        have = course.kept()[::-1].tolist()
        if len(have) < STEADY:
            return
        # the frames there may not have been sure of their neighbours when they were placed
        for row in range(have[-1] - 1, int(self.rows[0]) - 1, -1):
            if have[-1] - row > MOST_MISSED:
                break
            due = course.expected(have, row, swing) / self.depth[row]
            self.expected[row] = path[row] + due
            self.placed.pop(row, None)
            self._place([row])
            place, error, _, _ = self._claimed()
            moved = (place[row] - path[row]) * self.depth[row]
            off = moved - due * self.depth[row]
            if course.belongs(have, row, off, error[row] * self.depth[row], lenient=True):
                swing[row] = moved
                have.append(row)
            else:
                self.placed.pop(row, None)
        for row in self.rows[self.rows < have[-1]].tolist():
            self.placed.pop(row, None)

    def _fitted(
        self, rows: npt.NDArray[np.int64], xy_px: FloatArray, start: Perspective | None
    ) -> Perspective | None:
        """Lay a path through places; how large the nock is tells how fast it falls."""
        due = self.look.size_px_s * self.fall_per_size
        told = None if self.sky.size_per_fall_s2 is None else (due, FALL_SPREAD * due)
        return fit(self.sky, rows, xy_px[rows], self.path.singular_s, start, told)

    def _take(self, path: Perspective | None) -> None:
        """Go on with a better path; sizes go with its depth."""
        if path is None or path.singular_s > self.sky.time_s[self.rows[0]] - 0.7 * self.step:
            return
        before = float(np.median(self.depth[self.rows]))
        self.path = path
        self.depth = np.maximum(self.sky.time_s - path.singular_s, 1e-9)
        share = float(np.median(self.depth[self.rows])) / before
        self.look = replace(self.look, size_px_s=self.look.size_px_s * share)

    def follow_on(self) -> None:
        """Follow the arrow further along its path, a stretch of frames at a time."""
        refitted = int(self.rows[-1])
        while self.rows[-1] + 1 < self.n:
            xy, sigma, _, _ = self._claimed()
            have = rows_of(xy)
            if len(have) < 8 or self.rows[-1] - have[-1] > LOST_FRAMES:
                return
            if self._seems_still(xy, have):
                stopped = landing(self.sky.time_s, xy, sigma, self.look.size_px_s / self.depth)
                if stopped is not None and (have > stopped.row).sum() >= ENOUGH_STILL:
                    return
            more = np.arange(self.rows[-1] + 1, min(self.rows[-1] + 1 + STRETCH, self.n))
            more = more[self.look.size_px_s / self.depth[more] > LEAST_SIZE_PX]
            if not len(more):
                return
            recent = have[-60:]
            if len(more) and self.rows[-1] - refitted >= REFIT_EVERY:
                self._take(self._fitted(have, xy, self.path))
                refitted = int(self.rows[-1])
            late = np.isin(np.arange(self.n), recent)[:, None]
            # those already placed were expected where they were expected
            self.expected[more[0] :] = self._expect(np.where(late, xy, np.nan))[more[0] :]
            self.rows = np.concatenate([self.rows, more])
            self.footage.narrow(self._box_from(int(more[0])))
            self._place(more.tolist())

    def _seems_still(self, xy: FloatArray, have: npt.NDArray[np.int64]) -> bool:
        """Whether the last places moved far less than the path says."""
        last = have[-ENOUGH_STILL:]
        ends = xy[last[[0, -1]]]
        path = self.path.at(self.sky.time_s[last[[0, -1]]])
        went, due = np.linalg.norm(ends[1] - ends[0]), np.linalg.norm(path[1] - path[0])
        return bool(went < 0.5 * due)

    def _claimed(self) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        """Places for which the pixels speak, sigma, contrast and amplitude of all."""
        xy, sigma = np.full((self.n, 2), np.nan), np.full((self.n, 2), np.nan)
        contrast, amplitude = np.full(self.n, np.nan), np.full(self.n, np.nan)
        for row, placed in self.placed.items():
            contrast[row], amplitude[row] = placed.contrast, placed.amplitude
            motion = self.footage.motion(row)
            at = motion.to_reference(placed.pose.xy_px[None])[0]
            diameter = self.look.size_px_s / self.depth[row]
            near = np.linalg.norm(at - self.expected[row]) < 2.5 + 0.8 * diameter
            variance = np.diag(placed.covariance) * max(placed.misfit, 1.0)
            error = np.sqrt(variance + (SHAPE_SHARE * diameter) ** 2)
            clear = placed.contrast > CLEAR_CONTRAST and 0.3 < placed.amplitude < 3.0
            clear = clear and placed.explained > LEAST_EXPLAINED
            if clear and near and error.max() < max(WIDEST_PX, WIDEST_SHARE * diameter):
                xy[row], sigma[row] = at, error
        hidden = self._half_hidden(xy, contrast, amplitude)
        xy[hidden], sigma[hidden] = np.nan, np.nan
        return xy, sigma, contrast, amplitude

    def _half_hidden(
        self, xy_px: FloatArray, contrast: FloatArray, amplitude: FloatArray
    ) -> npt.NDArray[np.bool_]:
        """(n,) where a place shows far less of the tail than is usual, or more, noise apart.

        Behind string, limb or hand a part of it is hidden, and the rest is not where the nock is.
        """
        sure = np.isfinite(xy_px[:, 0]) & (contrast > SURE_CONTRAST)
        if sure.sum() < FEWEST_LEARNT:
            return np.zeros(self.n, dtype=np.bool_)
        share = amplitude / np.median(amplitude[sure])
        return np.asarray(sure & ((share < LEAST_SHOWN) | (share > 1 / LEAST_SHOWN)))

    def _course(self, xy: FloatArray, sigma: FloatArray) -> Course:
        off = xy - self.path.at(self.sky.time_s)
        return Course(
            self.sky.time_s, self.depth, off, sigma, float(self.look.size_px_s), self._plain()
        )

    def _plain(self) -> npt.NDArray[np.bool_]:
        """(n,) where a large nock is as bright as elsewhere and nothing about it is unexplained."""
        plain = np.zeros(self.n, dtype=np.bool_)
        rows = np.array(list(self.placed), dtype=np.int64)
        diameter = self.look.size_px_s / self.depth[rows]
        large = diameter > PLAIN_FROM_PX
        if large.sum() < FEWEST_LEARNT:
            return plain
        all_ = [self.placed[row] for row in rows.tolist()]
        amplitude = np.array([one.amplitude for one in all_])
        misfit = np.array([one.misfit for one in all_])
        alike = np.abs(amplitude / np.median(amplitude[large]) - 1) < PLAIN_ALIKE
        plain[rows] = large & alike & (misfit < PLAIN_MISFIT * np.median(misfit[large]))
        return plain

    def _explained(self) -> FloatArray:
        share = np.full(self.n, np.nan)
        for row, placed in self.placed.items():
            share[row] = placed.explained
        return share

    def _misfit(self) -> FloatArray:
        left = np.full(self.n, np.nan)
        for row, placed in self.placed.items():
            left[row] = placed.misfit
        return left

    def result(self) -> Settled:
        """Put everything in the window's rows."""
        xy, sigma, contrast, amplitude = self._claimed()
        spotted = np.isfinite(xy[:, 0])
        stray = ~np.isin(np.arange(self.n), self._course(xy, sigma).kept())
        xy[stray], sigma[stray] = np.nan, np.nan
        sigma = self._course(xy, sigma).scaled(sigma)
        widest = np.maximum(VAGUE_PX, WIDEST_SHARE * self.look.size_px_s / self.depth)
        vague = sigma.max(axis=1) > widest
        # with few frames a second none is expected well, and that is no fault of the places
        if vague.sum() < MOST_VAGUE * np.isfinite(xy[:, 0]).sum():
            xy[vague], sigma[vague] = np.nan, np.nan
        return Settled(
            xy_px=xy,
            sigma_px=sigma,
            spotted=spotted,
            size_px=np.where(np.isfinite(xy[:, 0]), self.look.size_px_s / self.depth, np.nan),
            contrast=contrast,
            amplitude=amplitude,
            explained=self._explained(),
            misfit=self._misfit(),
            depth_s=self.depth,
            look=self.look,
            path=self.path,
        )


def _worse(one: _Trial, other: _Trial) -> float:
    """Compare what two looks leave, each patch in units of what the better one leaves there."""
    least = np.minimum(one.costs, other.costs)
    left = [float(np.minimum(trial.costs / least, 6.0).mean()) for trial in (one, other)]
    return left[0] / left[1]


def _from_segment(patch: Patch, a: FloatArray, b: FloatArray) -> FloatArray:
    """(h, w) distance of each pixel from the segment a to b."""
    x, y = np.meshgrid(patch.x_px - a[0], patch.y_px - a[1])
    along = b - a
    share = np.clip((x * along[0] + y * along[1]) / max(float(along @ along), 1e-9), 0, 1)
    return np.asarray(np.hypot(x - share * along[0], y - share * along[1]))


def _median3(values: FloatArray) -> FloatArray:
    if len(values) < 3:
        return values
    padded = np.concatenate([values[:1], values, values[-1:]])
    return np.asarray(np.median(np.stack([padded[:-2], padded[1:-1], padded[2:]]), axis=0))


def rows_of(claimed: FloatArray) -> npt.NDArray[np.int64]:
    """Numbers of the rows that hold a place."""
    return np.nonzero(np.isfinite(claimed[:, 0]))[0]
