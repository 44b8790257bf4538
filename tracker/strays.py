"""Places along a path go in; those that do not belong to the tail's swing are dropped.

A tail swings slowly, and may tremble besides: near one place its motion is a parabola and a
sinusoid or two, the same throughout. A place is judged by its neighbours on the side from which the
path is surely known, from the steadiest stretch outwards, so that a run of false places where the
tail comes out from behind the bow, or fades before the target, cannot vouch for itself.

References
----------
[1] N. R. Lomb, "Least-squares frequency analysis of unequally spaced data", Astrophys. Space Sci.
    39 (1976) 447-462.
[2] A. F. Siegel, "Robust regression using repeated medians", Biometrika 69 (1982) 242-244.
"""

from __future__ import annotations

import numpy as np

from tracker.types import BoolArray, FloatArray, IntArray

_TURN = (np.cos, np.sin)

STEADY = 14
"""Places of the stretch that is believed first."""

MEMORY = 12
"""Places from which the next is expected: a fifth of a period of slow swing."""

TREMBLING = 0.5
"""Share of what a parabola leaves that one sinusoid must explain to be told from noise."""

HEARD = 32
"""Places in which a tremble must stand out: it dies away within the flight."""

SLOWEST, FASTEST, SLOW_TERMS = 0.035, 0.497, 4
"""Cycles a frame between which a tremble is sought: for fast swings of the whole tail and the
shaft's bending. A polynomial of so many terms over `HEARD` places follows what is slower."""

APART = 1.0
"""Turns over `HEARD` places by which two trembles differ (chosen here)."""

TREMBLES = 2
"""Trembles at most."""

FAR = 3.6
"""Standard errors beyond which a place is a stray (chosen here)."""

LEAP_PX, LEAP_SHARE = 0.6, 0.45
"""Nor does a tail leap by more than this, and this share of the nock's width, in one frame."""

EARLIEST_SHARE = 0.6
"""The stretch believed lies in this share of the places, before the arrow can have landed."""

WIDE_PX = 1.8
"""Where there are such, it begins with a nock at least so wide."""

MOST_GAIN = 3.0
"""By so much what is expected of a place may repeat the noise of its neighbours; a tremble that is
told from slow motion by nothing else is left out (chosen here)."""

RUN = 4
"""So many places in a row that nobody expected tell that the arrow has landed (chosen here)."""

ALONE = 5
"""Fewer places than this, cut off from the later ones, do not begin a flight (chosen here)."""

SLACK_PX = 0.2
"""Never is a place dropped for less than this (chosen here)."""

SCALED_BY = (24, 14)
"""Places whose scatter scales a claimed error; those of the two that leave less count."""


class Course:
    """How a tail moves about its path from frame to frame.

    Parameters
    ----------
    time_s, depth
        (n,) of the frames; depth is the time since the singular time.
    off_px, sigma_px
        (n, 2) places less the path and their errors, NaN where none.
    width_px_s
        The nock's width in pixels times depth.
    plain
        (n,) where the pixels alone leave no doubt that the nock is there: bending may then take it
        further from what is expected.

    Attributes
    ----------
    step_s
        Usual time between frames.
    swing, error
        (n, 2) `off_px` and `sigma_px` times depth: what swings in the world, whatever its distance.
    trembles
        Cycles a frame of the fast swings that stand out, at most one for each of `TREMBLES`.
    misses
        How far the places of the last walk were from what was expected, pixels.
    """

    def __init__(
        self,
        time_s: FloatArray,
        depth: FloatArray,
        off_px: FloatArray,
        sigma_px: FloatArray,
        width_px_s: float,
        plain: BoolArray,
    ) -> None:
        self.step_s = float(np.median(np.diff(time_s)))
        self._clock = (time_s - time_s[0]) / self.step_s
        self.depth, self._width, self._plain = depth, width_px_s, plain
        self.swing, self.error = off_px * depth[:, None], sigma_px * depth[:, None]
        self.trembles: list[float] = []
        self.misses: list[FloatArray] = []
        self.rows = np.nonzero(np.isfinite(off_px[:, 0]))[0]
        self.start = self._steadiest() if len(self.rows) >= STEADY else 0
        if len(self.rows) >= 3 * MEMORY:
            while len(self.trembles) < TREMBLES and (one := self._trembling()) is not None:
                self.trembles.append(one)

    def _steadiest(self) -> int:
        """Where the stretch begins that a parabola fits best; never in the target."""
        best, found = np.inf, 0
        starts = np.arange(0, len(self.rows) - STEADY + 1, 2)
        wide = self._width / self.depth[self.rows[starts]] > WIDE_PX
        early = starts <= EARLIEST_SHARE * len(self.rows)
        for start in starts[wide if wide.sum() > STEADY // 2 else early].tolist():
            near = self.rows[start : start + STEADY]
            left = np.abs(self.left(near)) / self.depth[near][:, None]
            # the worst counts: no false place may be in it
            cost = float(left.max()) * (1 + (near[-1] - near[0] + 1 - STEADY) / STEADY)
            if cost < best:
                best, found = cost, start
        return found

    def _basis(self, rows: IntArray, about: float, terms: int) -> FloatArray:
        """(m, k) columns of the local motion at rows, about a moment."""
        t = self._clock[rows] - about
        columns = [np.vander(t / MEMORY, terms, increasing=True)]
        for cycles in self.trembles[: (len(rows) - terms) // 4]:
            turn = 2 * np.pi * cycles * t
            columns += [np.cos(turn)[:, None], np.sin(turn)[:, None]]
        return np.concatenate(columns, axis=1)

    def left(self, rows: IntArray) -> FloatArray:
        """(m, 2) what the local motion, fitted to the swing at rows, leaves of it."""
        return self._left_by(self._local(rows, 3), rows, np.ones(len(rows)))

    def _local(self, rows: IntArray, terms: int) -> FloatArray:
        """(m, k) columns of the local motion at rows, about their middle."""
        return self._basis(rows, float(self._clock[rows].mean()), terms)

    def _left_by(self, basis: FloatArray, rows: IntArray, trust: FloatArray) -> FloatArray:
        """(m, 2) what columns, fitted to the swing at rows by (m,) weights, leave of it."""
        by = trust[:, None]
        fitted = np.linalg.lstsq(basis * by, self.swing[rows] * by, rcond=None)[0]
        return np.asarray(self.swing[rows] - basis @ fitted)

    def expected(self, known: list[int], row: int, swing: FloatArray) -> FloatArray:
        """Carry a swing on to a row near those in which it is known.

        Parameters
        ----------
        known
            Rows in which it is known, the nearest to `row` last.
        row
            Where it is wanted.
        swing
            (n, 2) of all rows.

        Returns
        -------
        numpy.ndarray
            (2,) from a line or, next to enough rows, a parabola, and the tremble if there is one.
        """
        rows = np.array(known[-2 * MEMORY if self.trembles else -MEMORY :])
        gap = np.abs(rows - row)
        # a parabola carries a frame or two; beyond that a line errs less
        terms = 3 if len(rows) >= MEMORY and gap.min() <= 2 else 2
        about = float(self._clock[row])
        basis = self._basis(rows, about, terms)
        weight = 1 / (1 + gap / MEMORY)
        shares = np.empty(0)
        for columns in range(basis.shape[1], terms - 1, -2):
            inverse = np.linalg.pinv(basis[:, :columns] * weight[:, None]) * weight
            # at the row itself every cosine is one, every sine and power nought
            shares = inverse[0] + inverse[terms::2].sum(axis=0)
            if float(shares @ shares) < MOST_GAIN**2:
                break
        return np.asarray(shares @ swing[rows])

    def _trembling(self) -> float | None:
        """Find the sinusoid that explains most of what slow motion leaves in some stretch [1]."""
        best, found = TREMBLING, None
        for k in range(0, max(len(self.rows) - HEARD, 0) + 1, HEARD // 2):
            near = self.rows[k : k + HEARD]
            t = self._clock[near] - float(self._clock[near].mean())
            known = [part(2 * np.pi * f * t)[:, None] for f in self.trembles for part in _TURN]
            slow = np.concatenate([np.vander(t / MEMORY, SLOW_TERMS), *known], axis=1)
            span = t[-1] - t[0]
            cycles = np.arange(SLOWEST, FASTEST, 0.05 / span)
            # one that is less than a turn from another over the stretch is the same, told wrongly
            apart = np.abs(cycles[:, None] - np.array(self.trembles)) > APART / span
            cycles = cycles[apart.all(axis=1)]
            turn = 2 * np.pi * cycles[:, None] * t
            waves = np.stack([part(turn) for part in _TURN], axis=2)
            weight = 1 / self.error[near].mean(axis=1)
            for _ in range(2):  # the second time without strays
                share, left, at = _best_wave(
                    slow * weight[:, None],
                    waves * weight[:, None],
                    self.swing[near] * weight[:, None],
                )
                miss = np.linalg.norm(left, axis=1)
                weight = weight / (1 + (miss / (3 * np.median(miss) + 1e-12)) ** 4)
            if share > best:
                best, found = share, float(cycles[at])
        return found

    def kept(self) -> IntArray:
        """Rows whose places the others expect."""
        if len(self.rows) < STEADY:
            return self.rows
        later = self._outwards(self.rows[self.start :], landing=True)
        earlier = self._outwards(self.rows[: self.start + STEADY][::-1], landing=False)
        kept = np.union1d(later, earlier)
        # a place or two cut off from the rest, strays between, were kept by chance
        breaks = np.nonzero(np.diff(kept) > 1)[0]
        while len(breaks) and breaks[0] + 1 < ALONE:
            kept = kept[breaks[0] + 1 :]
            breaks = np.nonzero(np.diff(kept) > 1)[0]
        breaks = np.nonzero(np.diff(kept) > RUN)[0]
        while len(kept) > STEADY and len(breaks) and len(kept) - breaks[-1] - 1 < ALONE:
            kept = kept[: breaks[-1] + 1]
            breaks = breaks[:-1]
        return kept

    def _outwards(self, rows: IntArray, *, landing: bool) -> IntArray:
        """Go through places in order, the first `STEADY` believed, and keep what is expected.

        Where the arrow may land, a run of places that nobody expected is kept and believed from
        there on: the arrow stands still.
        """
        kept = rows[:STEADY].tolist()
        near = rows[:STEADY]
        # in pixels: what blurs the picture is alike from frame to frame
        self.misses = list(np.abs(self.left(near)) / self.depth[near][:, None])
        run: list[int] = []
        for row in rows[STEADY:].tolist():
            due = self.expected(kept, row, self.swing)
            if self.belongs(kept, row, self.swing[row] - due, self.error[row]):
                kept.append(row)
                run = []
            elif landing:
                run.append(row)
                if len(run) == RUN:
                    kept += run
                    run = []
        return np.array(kept, dtype=np.int64)

    def belongs(
        self,
        known: list[int],
        row: int,
        off: FloatArray,
        error: FloatArray,
        *,
        lenient: bool = False,
    ) -> bool:
        """Judge a place by how far those before it were from what was expected of them.

        Parameters
        ----------
        known
            Rows that belong, the nearest to `row` last.
        row
            Of the place.
        off, error
            (2,) of its swing from the expected one, and claimed.
        lenient
            Whether it will be judged again, when more is known.

        Returns
        -------
        bool
            If so, the miss is remembered.
        """
        if not np.isfinite(off).all():
            return False
        miss = np.abs(off) / self.depth[row]
        # towards the release strays must not excuse each other: what was usual before them counts
        few = slice(-2 * MEMORY, None) if lenient or row > known[0] else slice(2 * MEMORY)
        # the swing's own part grows in the picture as the arrow is nearer, what blurs it does not
        nearer = max(1.0, float(np.median(self.depth[known[few]]) / self.depth[row]))
        nearer = nearer if lenient else np.sqrt(nearer)
        usual = nearer * 1.4826 * np.median(self.misses[few], axis=0)
        # a place that claims little cannot excuse itself with that
        excuse = np.minimum(error / self.depth[row], 1.5 * usual)
        leap = LEAP_PX + LEAP_SHARE * self._width / self.depth[row]
        limit = np.minimum(FAR * np.hypot(usual, excuse) + SLACK_PX, leap)
        if self._plain[row] and row < known[0]:
            limit = np.full(2, leap)
        if (miss > limit * (1 + 0.25 * (abs(row - known[-1]) - 1))).any():
            return False
        self.misses.append(miss)
        return True

    def scaled(self, sigma_px: FloatArray) -> FloatArray:
        """Raise claimed errors to the scatter of the places about the local motion.

        Compression leaves errors that no pixel's noise tells of; a steady swing leaves none. Over
        many places a swing between slow and quick looks like scatter, over a few the errors that
        neighbours share look like a swing: whichever leaves less counts.

        Parameters
        ----------
        sigma_px
            (n, 2) claimed, NaN where no place is.

        Returns
        -------
        numpy.ndarray
            (n, 2) never less than `sigma_px`.
        """
        rows = np.nonzero(np.isfinite(sigma_px[:, 0]))[0]
        if len(rows) < STEADY:
            return sigma_px
        least = np.min([self._scatter(rows, places) for places in SCALED_BY], axis=0)
        return np.asarray(sigma_px * np.maximum(least, 1.0))

    def _scatter(self, rows: IntArray, places: int) -> FloatArray:
        """(n, 2) what a cubic and the trembles leave of so many places, in claimed errors."""
        middles, factors = [], []
        for k in range(0, max(len(rows) - places, 0) + 1, 4):
            near = rows[k : k + places]
            basis, error = self._local(near, SLOW_TERMS), self.error[near]
            z = self._left_by(basis, near, 1 / error.mean(axis=1)) / error
            freedom = len(near) - basis.shape[1] - 1
            # 0.4549 is the median of chi-square with one degree of freedom
            factors.append(np.median(z**2, axis=0) / 0.4549 * len(near) / freedom)
            middles.append(float(near.mean()))
        every, scale = np.arange(len(self.swing)), np.sqrt(np.array(factors))
        return np.stack([np.interp(every, middles, scale[:, k]) for k in (0, 1)], axis=1)


def _best_wave(
    slow: FloatArray, waves: FloatArray, swing: FloatArray
) -> tuple[float, FloatArray, int]:
    """Fit (m, k) slow columns and the best of (f, m, 2) waves to a swing (m, 2).

    Returns
    -------
    share : float
        Of what the slow columns leave that the wave explains.
    left : numpy.ndarray
        (m, 2) what both leave.
    at : int
        Number of the wave.
    """
    axes = np.linalg.qr(slow)[0]
    z = swing - axes @ (axes.T @ swing)
    waves = waves - axes @ (axes.T @ waves)
    shadow = waves.transpose(0, 2, 1) @ z
    normal = waves.transpose(0, 2, 1) @ waves
    normal += 1e-9 * np.trace(normal, axis1=1, axis2=2).max() * np.eye(2)
    fitted = np.linalg.solve(normal, shadow)
    power = (shadow * fitted).sum(axis=(1, 2))
    at = int(power.argmax())
    total = float((z**2).sum())
    return float(power[at]) / max(total, 1e-12), z - waves[at] @ fitted[at], at


def steady_line(t_s: FloatArray, values: FloatArray, at_s: FloatArray) -> FloatArray:
    """Carry values on along a line that half of them, if they stray, cannot turn [2].

    The same as `scipy.stats.siegelslopes`, which takes half a second to import.

    Parameters
    ----------
    t_s, values
        (n,) and (n, k).
    at_s
        (m,) where they are wanted.

    Returns
    -------
    numpy.ndarray
        (m, k)
    """
    gap = t_s[:, None] - t_s
    np.fill_diagonal(gap, np.nan)
    slopes = (values[:, None] - values) / gap[:, :, None]
    slope = np.median(np.nanmedian(slopes, axis=1), axis=0)
    start = np.median(values - slope * t_s[:, None], axis=0)
    return np.asarray(start + slope * at_s[:, None])
