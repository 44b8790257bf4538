"""A guessed path goes in, the nock placed in every frame of the flight comes out, or a refusal.

The look of the arrow is learnt on the frames in which it is large, the nock placed in all, and
each place kept only where the pixels speak for it. The claimed errors are held against the scatter
of the places themselves, since compression leaves errors that no pixel's noise tells of.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from tracker.along import LEAST_SIZE_PX, Along, rows_of
from tracker.footage import Footage
from tracker.landing import landing
from tracker.lesson import CLEAR_CONTRAST, FEWEST_LEARNT, SEEN_LEVEL, learn, learn_again
from tracker.likeness import from_segment, pixel_of, tails
from tracker.path import Guess, Perspective, Sky
from tracker.refine import Placed, Pose, place
from tracker.strays import STEADY, Course, steady_line
from tracker.tail import Look, Patch
from tracker.types import FloatArray

LEAST_EXPLAINED = 0.25
"""Share of what changed around a place that the arrow must explain: an edge of the scenery that the
camera's shake left over looks like a tail to no more than that. On filmed flights it costs 3 to 5
places of 100 that were right and spares two thirds of those that were not."""

SURE_CONTRAST, LEAST_SHOWN = 10.0, 0.6
"""Contrast from which it is known how much of a tail is seen, and the share of the usual below
which it is half hidden: so are one in 500 of the right places on filmed flights, and on clear films
one in seven of those that are off by more than half a nock."""

STRETCH = 3
"""Frames by which a path is followed on at a time."""

AWAY_PX, AWAY_SHARE = 0.4, 0.2
"""How far from where it is expected a nock may be, in pixels and its widths (chosen here)."""

STANDS_PX, STANDS_SHARE, SELDOM = 0.5, 0.3, 6.0
"""The same of one that stands in the target, and the chi-square that speaks against it: an arrow
stops once (chosen here)."""

REPEATS, FEWEST_KEPT = 3, 8
"""Times that places are found again, and places without which they are not (chosen here)."""

OFF_IT = 5.0
"""Chi-square per pixel, over what most places leave, from which a place is on something else than
the nock (chosen here)."""

CARRIED = 12
"""Places from which the next are expected while a path is followed on (chosen here)."""

REFIT_EVERY = 12
"""Frames after which the path is fitted again while it is followed on."""

ENOUGH_STILL = 10
"""Frames of standstill after which an arrow is not followed on."""

LOST_FRAMES = 14
"""After so many frames without a place the arrow is given up."""

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

STIRRED_PX = 0.05
"""How far a nock must be expected from where it was expected before to be looked for once more
(chosen here)."""

MOST_VAGUE = 0.4
"""Share of the places that may be dropped for their scatter (chosen here)."""

PLAIN_FROM_PX, PLAIN_ALIKE, PLAIN_MISFIT = 3.5, 0.15, 1.5
"""Diameter from which a nock can be told by its pixels alone, and how near to the usual its
brightness and what is left unexplained must be for that (chosen here)."""

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
    explained, misfit, clumped
        (n,) share of what changed around the tail that the model explains, chi-square per pixel
        that it leaves, and how alike neighbouring pixels are in that (a correlation); NaN where not
        tried.
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
    clumped: FloatArray
    depth_s: FloatArray
    look: Look
    path: Perspective


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
    if not learn(work):
        return None
    work.place_all(rounds=3)
    work.smooth_and_repeat()
    work.learn_again()
    work.follow_back()
    work.follow_on()
    return work.result()


class _Work(Along):
    """The steps of `settle` with what they share.

    Attributes
    ----------
    placed
        By frame, what was found.
    sure_until
        Last frame whose place its neighbours expected.
    search_from
        First frame whose tail is looked for about its expected place.
    last_seen
        (2,) where the nock was last seen, reference coordinates, while it is followed on.
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
        super().__init__(footage, sky, guess, xy_px, size_px, stretch)
        self.placed: dict[int, Placed] = {}
        self.sure_until, self.search_from = self.n, guess.last + 1
        self.last_seen: FloatArray | None = None

    def _likeliest(self, patch: Patch, start: Pose) -> Pose:
        """Begin where nearby pixels look most like the tail, flying on or stopped in the target."""
        gain = tails(patch, self.look, start.xy_px, self.ahead(patch.row))
        if gain is None:
            return start
        gain /= self._usual_misfit()
        best = gain - self._away(patch, start.xy_px, AWAY_PX, AWAY_SHARE)
        if self.last_seen is not None:
            there = self.footage.motion(patch.row).to_raw(self.last_seen[None])[0]
            stands = gain - self._away(patch, there, STANDS_PX, STANDS_SHARE) - SELDOM
            if stands.max() > best.max():
                best = stands
                self.expected[patch.row] = self.last_seen
        line, column = np.unravel_index(int(best.argmax()), best.shape)
        moved = np.subtract((column, line), pixel_of(patch, start.xy_px))
        return replace(start, xy_px=start.xy_px + moved)

    def _away(self, patch: Patch, at: FloatArray, px: float, share: float) -> FloatArray:
        """(h, w) what speaks against each pixel for its distance from a place, as chi-square."""
        diameter = self.look.size_px_s / patch.depth_s
        far = from_segment(patch, at, at)
        away = (far / (px + share * diameter)) ** 2
        reach = min(4.0 + 2.0 * diameter, 0.5 * max(patch.scene.shape) - 2.0)
        return np.where(far < reach, away, np.inf)

    def _usual_misfit(self) -> float:
        """Chi-square per pixel that is left in most frames, at least one."""
        return max(1.0, float(np.median([one.misfit for one in self.placed.values()] or [1.0])))

    def place_all(self, rounds: int = 6) -> None:
        """Place the nock in every frame in reach."""
        self.placed.clear()
        self._place(self.rows.tolist(), rounds)

    def _place(self, rows: list[int], rounds: int = 6) -> None:
        for row in rows:
            patch = self.patch(row)
            if patch is not None:
                start = self.start(row)
                if row >= self.search_from:
                    start = self._likeliest(patch, start)
                self.placed[row] = place(patch, self.look, start, self.ahead(row), rounds)

    def smooth_and_repeat(self) -> None:
        """Expect the nock where its neighbours put it, and place it again, until all lie there."""
        for turn in range(REPEATS):
            xy, sigma, _, _ = self._claimed()
            kept = self._course(xy, sigma).kept()
            xy[~np.isin(np.arange(self.n), kept)] = np.nan
            misfit = self._of_each(lambda one: one.misfit)
            xy[misfit > OFF_IT * self._usual_misfit()] = np.nan
            rows = rows_of(xy)
            if len(rows) < FEWEST_KEPT:
                return
            if turn == 0:  # size, fall and path lean on each other and would drift away together
                self.take(self.fitted(rows, xy, self.path))
            before, self.expected = self.expected, self.expect(xy)
            off = np.linalg.norm(xy - self.expected, axis=1)
            anew = ~(off < AGAIN_PX + AGAIN_SHARE * self.look.size_px_s / self.depth)
            if turn > 0:  # from the same start the same place would be found
                anew &= np.linalg.norm(self.expected - before, axis=1) > STIRRED_PX
            again = self.rows[anew[self.rows]].tolist()
            if not again:
                return
            self.search_from = int(rows[0])
            self._place(again, rounds=6)

    def learn_again(self) -> None:
        """Learn the look of a dull nock from all that was placed, and place it once more."""
        if self.look.nock >= SEEN_LEVEL:
            return
        xy, sigma, _, _ = self._claimed()
        kept = self._course(xy, sigma).kept().tolist()
        if learn_again(self, {row: self.placed[row].pose for row in kept}):
            self.place_all()
            self.smooth_and_repeat()

    def follow_back(self) -> None:
        """Follow the arrow towards the release, each frame expected from the later ones.

        There it comes out from behind bow and archer, and what moves beside it is near.
        """
        before, most = self.n, REFIT_EVERY
        while (reached := self._followed_back(most)) < self.n:
            if reached < before:
                # a path through later places alone leads the more astray the further back it goes
                xy, _, _, _ = self._claimed()
                xy[:reached] = np.nan
                self.take(self.fitted(rows_of(xy), xy, self.path))
            else:
                most = self.n
            before = reached

    def _followed_back(self, most: int) -> int:
        """Go back by so many places at most, give the row reached, or `n` if the arrow is lost."""
        xy, sigma, _, _ = self._claimed()
        course = self._course(xy, sigma)
        path, swing = self.path.at(self.sky.time_s), course.swing.copy()
        have = course.kept()[::-1].tolist()
        if len(have) < STEADY:
            return self.n
        self.sure_until = have[0]
        known = len(have)
        # the frames there may not have been sure of their neighbours when they were placed
        for row in range(have[-1] - 1, int(self.rows[0]) - 1, -1):
            if have[-1] - row > MOST_MISSED:
                break
            if len(have) - known >= most:
                return int(have[-1])
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
        return self.n

    def follow_on(self) -> None:
        """Follow the arrow further along its path, a stretch of frames at a time."""
        # the last places may have been looked for beside the arrow
        self.rows = self.rows[self.rows <= self.sure_until]
        for row in [row for row in self.placed if row > self.sure_until]:
            del self.placed[row]
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
            self.last_seen = xy[have[-1]]
            if len(more) and self.rows[-1] - refitted >= REFIT_EVERY:
                self.take(self.fitted(have, xy, self.path))
                refitted = int(self.rows[-1])
            late = np.isin(np.arange(self.n), recent)[:, None]
            # those already placed were expected where they were expected
            self.expected[more[0] :] = self.expect(np.where(late, xy, np.nan))[more[0] :]
            self.expected[more] = self._carried(xy, have[-CARRIED:], more)
            self.rows = np.concatenate([self.rows, more])
            self.footage.narrow(self.box_from(int(more[0])))
            self._place(more.tolist())

    def _carried(
        self, xy: FloatArray, have: npt.NDArray[np.int64], rows: npt.NDArray[np.int64]
    ) -> FloatArray:
        """(m, 2) the swing of the last places carried on by a line that few strays can turn."""
        path, t = self.path.at(self.sky.time_s), self.sky.time_s
        swing = (xy[have] - path[have]) * self.depth[have, None]
        due = steady_line(t[have], swing, t[rows])
        return np.asarray(path[rows] + due / self.depth[rows, None])

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

    def _of_each(self, told: Callable[[Placed], float]) -> FloatArray:
        """(n,) something about every place, NaN where none was tried."""
        every = np.full(self.n, np.nan)
        for row, placed in self.placed.items():
            every[row] = told(placed)
        return every

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
            explained=self._of_each(lambda one: one.explained),
            misfit=self._of_each(lambda one: one.misfit),
            clumped=self._of_each(lambda one: one.clumped),
            depth_s=self.depth,
            look=self.look,
            path=self.path,
        )
