"""One path through all frames at once: a flight's candidates go in, the arrow's path comes out.

The motion model is flight in perspective. An arrow that leaves a camera at steady speed stands, at
time ``t``, at a depth proportional to ``T = t - s``, where ``s`` is the *singular time* at which
its depth would have been nought. Launch offset, vanishing point and fall then show as

    x(T) = ax + bx / T              y(T) = ay + by / T + g T                           (1)

(a fall since the release, ``g0 (T - tau)^2 / T``, only changes ``ay`` and ``by``). Given ``s``, (1)
is linear, so that three sightings fix it, a fourth number being left over as a check: hypotheses
are drawn as triples of candidates and scored on all frames by the likelihood of what was seen near
their path against clutter, the best stretch of frames of each counting (Kadane's largest sum).

References
----------
[1] M. A. Fischler and R. C. Bolles, "Random sample consensus", Comm. ACM 24 (1981) 381-395.
[2] J. Bentley, "Algorithm design techniques", Comm. ACM 27 (1984) 865-873 (largest sum).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy.spatial import cKDTree

from tracker.candidates import Candidates
from tracker.types import FloatArray
from tracker.vouched import Vouched, draw_through

SEEN = 0.8
"""Share of its frames in which an arrow yields a candidate (chosen here)."""


@dataclass(frozen=True, kw_only=True)
class Breadth:
    """How many paths a search goes on with (chosen here).

    Attributes
    ----------
    draws
        Triples of candidates drawn for each singular time.
    strength
        Power of a candidate's strength by which it is drawn more often.
    of_each
        Raw paths that run apart, of each singular time.
    polished, polished_from
        Of all of those, how many are fitted to their candidates, and the share of the best one's
        score below which none is worth that.
    offered
        Different paths to return at most.
    """

    draws: int
    strength: float
    of_each: int
    polished: int
    polished_from: float
    offered: int


QUICK = Breadth(draws=5000, strength=2.0, of_each=6, polished=40, polished_from=0.25, offered=8)
"""A clear clip needs a thirtieth of these draws."""

THOROUGH = Breadth(
    draws=20000, strength=0.5, of_each=20, polished=150, polished_from=0.1, offered=12
)
"""Where bow and archer move on long smooth paths, a dull arrow's comes after many of theirs."""

SIZE_SPREAD = 0.6
"""Standard deviation of the logarithm of a candidate's size about what its fall says."""

AGAIN = 15
"""Frames after which a candidate at the same place tells against an arrow (chosen here)."""

MISSED = float(np.log(1 - SEEN))

FEWEST_FRAMES = 12
"""A shorter path is not told from chance (chosen here)."""

TINY = 1e-12
"""Added to normal equations that may be singular."""

FEWEST_SIGHTINGS = 6
"""Without so many no path is fitted."""

LEAST_TRAVEL_PX = 14.0
"""What stands still is no arrow in flight (chosen here)."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Perspective:
    """Equation (1).

    Attributes
    ----------
    singular_s
        s, in the clip's own seconds.
    x, y
        (3,) coefficients of 1, 1/T and T.
    """

    singular_s: float
    x: FloatArray
    y: FloatArray

    def at(self, time_s: FloatArray) -> FloatArray:
        """Place the path at (n,) times, as (n, 2); NaN before the singular time."""
        since = np.asarray(time_s) - self.singular_s
        since = np.where(since > 0, since, np.nan)
        basis = np.stack([np.ones_like(since), 1 / since, since])
        return np.stack([self.x @ basis, self.y @ basis], axis=1)


@dataclass(frozen=True, kw_only=True, eq=False)
class Sky:
    """What may be flown: bounds that turn candidates into possible arrows.

    Attributes
    ----------
    time_s
        (n,) of every frame of the window, from its first.
    first_frame
        Number of the window's first frame.
    singular_s
        (k,) singular times to try; a path whose singular time leaves their range is dropped.
    latest_start
        Frame of the window by which the arrow must be seen.
    fall_px_s
        Least and largest g of (1).
    swing_px
        How far swing takes the tail off its path at depth `swing_at_s`.
    swing_at_s
        T at which that holds; it shrinks as 1/T.
    spot_px
        How well a candidate is placed.
    size_per_fall_s2
        Size of the tail's spot times T, over g: both grow with focal length over speed. None
        where the capture rate, and so the fall, is unknown.
    sizes_px
        Smallest and largest spot that candidates were looked for with.
    """

    time_s: FloatArray
    first_frame: int
    singular_s: FloatArray
    latest_start: int
    fall_px_s: tuple[float, float]
    swing_px: float
    swing_at_s: float
    spot_px: float
    size_per_fall_s2: float | None
    sizes_px: tuple[float, float]

    def tolerance_px(self, since_s: FloatArray) -> FloatArray:
        """How far a candidate may lie from a path of (1) at T (one standard deviation)."""
        swing = self.swing_px * self.swing_at_s / np.maximum(since_s, self.swing_at_s / 3)
        return np.asarray(np.hypot(self.spot_px, swing))


@dataclass(frozen=True, kw_only=True, eq=False)
class Guess:
    """A path with the stretch of frames that speaks for it.

    Attributes
    ----------
    path
        Its equation.
    first, last
        Frames of the window between which it is supported, counted from the window's first.
    score
        Sum of log-likelihood ratios over them.
    chosen
        (n,) row of `Candidates` taken in each frame of the window, -1 where none.
    """

    path: Perspective
    first: int
    last: int
    score: float
    chosen: npt.NDArray[np.int64]


class _Table:
    """Candidates as rectangular arrays, frame by rank, with the clutter around each."""

    def __init__(self, seen: Candidates, sky: Sky, shape: tuple[int, int]) -> None:
        n = len(sky.time_s)
        row = seen.frame - sky.first_frame
        order = np.lexsort((-seen.snr, row))
        row = row[order]
        rank = np.arange(len(row)) - np.searchsorted(row, row)
        width = int(rank.max()) + 1 if len(row) else 1
        self.first, self.end = (int(row[0]), int(row[-1]) + 1) if len(row) else (0, 0)
        self.index = np.full((n, width), -1)
        self.index[row, rank] = order
        self.xy = np.full((n, width, 2), 1e6)
        self.xy[row, rank] = seen.xy_px[order]
        self.gain = np.full((n, width), -50.0)
        density = np.maximum(_clutter(seen.xy_px, shape) / n, _standing(seen, sky.spot_px) / n)
        strength = 0.3 * np.clip(seen.snr - 3.5, -3, 8)
        self.gain[row, rank] = (strength - np.log(density))[order]
        self.log_size = np.zeros((n, width))
        self.log_size[row, rank] = np.log(seen.size_px[order])
        self.snr = np.zeros((n, width))
        self.snr[row, rank] = seen.snr[order]


def _clutter(xy_px: FloatArray, shape: tuple[int, int]) -> FloatArray:
    """Candidates per square pixel in the neighbourhood of each, over all frames."""
    side = max(32.0, max(shape) / 20)
    nx, ny = int(shape[1] / side) + 3, int(shape[0] / side) + 3
    ix = np.clip((xy_px[:, 0] / side + 1).astype(int), 0, nx - 1)
    iy = np.clip((xy_px[:, 1] / side + 1).astype(int), 0, ny - 1)
    count = np.zeros((ny, nx))
    np.add.at(count, (iy, ix), 1)
    padded = np.pad(count, 1, mode="edge")
    around = np.zeros_like(count)
    for j in range(3):
        for i in range(3):
            around += padded[j : j + ny, i : i + nx]
    return np.asarray(around[iy, ix] / (9 * side**2))


def _standing(seen: Candidates, spot_px: float) -> FloatArray:
    """Candidates per square pixel at the very place of each, at other times than its own.

    The end of a bow limb, or an arrow that stands in the target, is found at one place again and
    again; an arrow in flight has left its place `AGAIN` frames later.
    """
    reach = 2 * spot_px
    pairs = cKDTree(seen.xy_px).query_pairs(reach, output_type="ndarray")
    apart = np.abs(seen.frame[pairs[:, 0]] - seen.frame[pairs[:, 1]]) > AGAIN
    count = np.bincount(pairs[apart].ravel(), minlength=len(seen.frame))
    return np.asarray(count / (np.pi * reach**2))


def search(
    seen: Candidates,
    sky: Sky,
    shape: tuple[int, int],
    rng: np.random.Generator,
    breadth: Breadth = QUICK,
    click: Vouched | None = None,
) -> list[Guess]:
    """Find the paths that best explain the candidates of a window.

    Parameters
    ----------
    seen
        Candidates of all its frames.
    sky
        What may be flown.
    shape
        (height, width) of the picture.
    rng
        Source of the draws.
    breadth
        How many paths to go on with.
    click
        A place through which the path goes, if a person says so.

    Returns
    -------
    list of Guess
        Best first; empty if nothing reaches positive likelihood.
    """
    if len(seen.frame) < FEWEST_FRAMES:
        return []
    table = _Table(seen, sky, shape)
    found: list[Guess] = []
    for singular in sky.singular_s:
        found += _best_triples(table, sky, float(singular), rng, breadth, click)
    found.sort(key=lambda g: -g.score)
    apart = _apart(found, sky, breadth.polished)
    apart = [g for g in apart if g.score > breadth.polished_from * found[0].score]
    polished = [g for raw in apart if (g := _polish(table, sky, raw)) is not None]
    polished.sort(key=lambda g: -g.score)
    if click is not None:
        polished = [g for g in polished if passes(g, sky, click)]
    return _distinct(polished, breadth.offered)


def passes(guess: Guess, sky: Sky, click: Vouched) -> bool:
    """Tell whether a path goes through a click, as near as its swing lets one know.

    Parameters
    ----------
    guess
        The path.
    sky
        Its times and tolerances.
    click
        The place.
    """
    time = sky.time_s[click.row : click.row + 1]
    swing = 2 * float(sky.tolerance_px(time - guess.path.singular_s)[0])
    return click.is_near(guess.path.at(time)[0], more_px=swing)


def _draw(
    table: _Table,
    since: FloatArray,
    rng: np.random.Generator,
    breadth: Breadth,
    click: Vouched | None,
) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]:
    """Draw triples of (frame, rank): spread over 1/T, stronger candidates more often."""
    usable = np.nonzero((since > 0) & (table.index[:, 0] >= 0))[0]
    if len(usable) < FEWEST_FRAMES:
        return np.zeros((0, 3), np.int64), np.zeros((0, 3), np.int64)
    count = breadth.draws
    weight = np.clip(table.snr - 2.0, 0, 8) ** breadth.strength
    if click is not None:
        return draw_through(click, table.xy, weight, usable, FEWEST_FRAMES, rng, count)
    start = rng.integers(0, max(len(usable) - FEWEST_FRAMES, 1), count)
    room = len(usable) - 1 - start
    span = np.minimum(room, FEWEST_FRAMES + (rng.random(count) ** 2 * room).astype(int))
    middle = start + 1 + (rng.random(count) * (span - 1)).astype(int)
    frames = usable[np.stack([start, middle, start + span], axis=1)]
    total = np.cumsum(weight, axis=1)
    pick = rng.random((count, 3)) * total[frames, -1]
    rank = (total[frames] < pick[..., None]).sum(axis=2)
    return frames, np.minimum(rank, table.index.shape[1] - 1)


def _best_triples(
    table: _Table,
    sky: Sky,
    singular: float,
    rng: np.random.Generator,
    breadth: Breadth,
    click: Vouched | None,
) -> list[Guess]:
    """Draw, solve, discard what cannot be flown, score the rest."""
    since = sky.time_s - singular
    frames, rank = _draw(table, since, rng, breadth, click)
    if not len(frames):
        return []
    T = since[frames]
    xy = table.xy[frames, rank]
    tolerance = sky.tolerance_px(T)
    basis = np.stack([np.ones_like(T), 1 / T, T], axis=2)
    # y exactly through three sightings; x through the outer two, the middle one is the check
    spread = np.abs(np.linalg.det(basis / np.abs(basis).max(axis=1, keepdims=True)))
    fine = spread > 1e-4
    frames, rank, T, xy, tolerance, basis = (
        a[fine] for a in (frames, rank, T, xy, tolerance, basis)
    )
    bx = (xy[:, 0, 0] - xy[:, 2, 0]) / (1 / T[:, 0] - 1 / T[:, 2])
    ax = xy[:, 0, 0] - bx / T[:, 0]
    miss = np.abs(ax + bx / T[:, 1] - xy[:, 1, 0])
    y = np.linalg.solve(basis, xy[:, :, 1, None])[..., 0]
    # swing bends y too: g of a triple is known no better than this
    blur = tolerance.max(axis=1) / (T[:, 2] - T[:, 0])
    fine = (
        (miss < 2.0 * np.linalg.norm(tolerance, axis=1))
        & (y[:, 2] > sky.fall_px_s[0] - blur)
        & (y[:, 2] < sky.fall_px_s[1] + blur)
    )
    ax, bx, y = ax[fine], bx[fine], y[fine]
    if not len(ax):
        return []
    x = np.stack([ax, bx, np.zeros_like(ax)], axis=1)
    score, first, last, _ = _score(table, sky, since, x, y)
    best = np.argsort(-score)[: 20 * breadth.of_each]
    guesses = [
        Guess(
            path=Perspective(singular_s=singular, x=x[i], y=y[i]),
            first=int(first[i]),
            last=int(last[i]),
            score=float(score[i]),
            chosen=np.zeros(0, np.int64),
        )
        for i in best
        if np.isfinite(score[i])
    ]
    return _apart(guesses, sky, breadth.of_each)


def _apart(guesses: list[Guess], sky: Sky, most: int) -> list[Guess]:
    """Choose the first paths that do not run beside an earlier one."""
    kept: list[Guess] = []
    for guess in guesses:
        time = sky.time_s[np.linspace(guess.first, guess.last, 5).astype(int)]
        here = guess.path.at(time)
        near = 2 * sky.tolerance_px(time - guess.path.singular_s)
        if all(
            (np.linalg.norm(other.path.at(time) - here, axis=1) > near).sum() > 2 for other in kept
        ):
            kept.append(guess)
        if len(kept) == most:
            break
    return kept


def _score(
    table: _Table, sky: Sky, since: FloatArray, x: FloatArray, y: FloatArray, tight: float = 1.0
) -> tuple[FloatArray, npt.NDArray[np.int64], npt.NDArray[np.int64], npt.NDArray[np.int64]]:
    """Score (m, 3) paths on all frames by their best contiguous stretch.

    Returns score, first, last (m,) and the rank chosen in each frame (m, n), -1 where none.
    """
    # before the first candidate and after the last nothing speaks for a path
    rows = slice(table.first, table.end)
    valid = since[rows] > 0
    T = np.where(valid, since[rows], 1.0)
    basis = np.stack([np.ones_like(T), 1 / T, T])
    px, py = x @ basis, y @ basis
    tolerance = sky.tolerance_px(T) * tight
    base = np.log(SEEN / (2 * np.pi * tolerance**2))
    due = None
    if sky.size_per_fall_s2 is not None:
        fall = np.clip(y[:, 2:], *sky.fall_px_s)
        due = np.log(np.clip(sky.size_per_fall_s2 * fall / T, *sky.sizes_px))

    def gain(at_x: FloatArray, at_y: FloatArray, k: int | slice) -> FloatArray:
        d2 = (at_x - table.xy[rows, k, 0].T) ** 2 + (at_y - table.xy[rows, k, 1].T) ** 2
        speaks = base + table.gain[rows, k].T - d2 / (2 * tolerance**2)
        if due is not None:
            speaks = speaks - ((table.log_size[rows, k].T - due) / SIZE_SPREAD) ** 2 / 2
        return np.asarray(speaks)

    if len(px) == 1:
        every = gain(px, py, slice(None))
        rank = every.argmax(axis=0)[None]
        best = every.max(axis=0)[None]
    else:
        best, rank = np.full(px.shape, -np.inf), np.full(px.shape, -1)
        for k in range(table.index.shape[1]):
            speaks = gain(px, py, k)
            better = speaks > best
            best[better] = speaks[better]
            rank[better] = k
    rank[best <= MISSED] = -1
    best = np.where(valid, np.maximum(best, MISSED), -1e3)
    score, first, last = _largest_sum(best)
    paths = np.arange(len(px))
    travel = np.hypot(px[paths, first] - px[paths, last], py[paths, first] - py[paths, last])
    hits = np.cumsum(rank >= 0, axis=1)
    support = hits[paths, last] - hits[paths, first] + 1
    first, last = first + table.first, last + table.first
    poor = (travel < LEAST_TRAVEL_PX) | (support < FEWEST_FRAMES * 0.7)
    poor |= first > sky.latest_start
    chosen = np.full((len(px), len(since)), -1)
    chosen[:, rows] = rank
    return np.where(poor, -np.inf, score), first, last, chosen


def _largest_sum(
    values: FloatArray,
) -> tuple[FloatArray, npt.NDArray[np.int64], npt.NDArray[np.int64]]:
    """Find the contiguous stretch with the largest sum in each row [2]."""
    total = np.concatenate([np.zeros((len(values), 1)), np.cumsum(values, axis=1)], axis=1)
    lowest = np.minimum.accumulate(total[:, :-1], axis=1)
    rise = total[:, 1:] - lowest
    last = rise.argmax(axis=1)
    rows = np.arange(len(values))
    below = total[:, :-1] == lowest[rows, last][:, None]
    below &= np.arange(values.shape[1]) <= last[:, None]
    first = below.argmax(axis=1)
    return rise[rows, last], first, last


def _polish(table: _Table, sky: Sky, guess: Guess) -> Guess | None:
    """Fit (1) to the candidates of a path, its singular time too, and score it again."""
    path = guess.path
    for tight in (1.0, 0.7, 0.7):
        since = sky.time_s - path.singular_s
        score, first, last, rank = _score(table, sky, since, path.x[None], path.y[None], tight)
        if not np.isfinite(score[0]):
            return None
        rows = np.arange(first[0], last[0] + 1)
        rows = rows[rank[0, rows] >= 0]
        if len(rows) < FEWEST_SIGHTINGS:
            return None
        chosen = rank[0, rows]
        fall = _due_fall(sky, since[rows], np.exp(table.log_size[rows, chosen]), path)
        fitted = fit(sky, rows, table.xy[rows, chosen], path.singular_s, path, fall)
        if fitted is None:
            return None
        path = fitted
    since = sky.time_s - path.singular_s
    score, first, last, rank = _score(table, sky, since, path.x[None], path.y[None], 0.7)
    g = path.y[2]
    if not np.isfinite(score[0]) or not sky.fall_px_s[0] <= g <= sky.fall_px_s[1]:
        return None
    chosen = np.where(
        rank[0] >= 0, table.index[np.arange(len(rank[0])), np.maximum(rank[0], 0)], -1
    )
    return Guess(
        path=path, first=int(first[0]), last=int(last[0]), score=float(score[0]), chosen=chosen
    )


def _due_fall(
    sky: Sky, since_s: FloatArray, size_px: FloatArray, path: Perspective
) -> tuple[float, float]:
    """Say how fast a path falls, and how sure that is, from the sizes of its candidates.

    Without a capture rate they tell nothing: then it is held to what the path has, within bounds.
    """
    if sky.size_per_fall_s2 is None:
        due = float(np.clip(path.y[2], *sky.fall_px_s))
    else:
        due = float(np.median(size_px * since_s)) / sky.size_per_fall_s2
        due = float(np.clip(due, *sky.fall_px_s))
    return due, SIZE_SPREAD * due


def fit(
    sky: Sky,
    rows: npt.NDArray[np.int64],
    xy_px: FloatArray,
    singular: float,
    start: Perspective | None = None,
    fall_px_s: tuple[float, float] | None = None,
) -> Perspective | None:
    """Fit (1) robustly to sightings, trying singular times around the one given.

    Parameters
    ----------
    sky
        Times and tolerances.
    rows
        (m,) frames of the window.
    xy_px
        (m, 2) sightings in them.
    singular
        Singular time to start from, seconds.
    start
        A path to take the first robust weights from.
    fall_px_s
        g as something else tells it, and its standard error: over a short way a swing up and down
        hides the fall.

    Returns
    -------
    Perspective or None
        None if there are too few sightings.
    """
    if len(rows) < FEWEST_SIGHTINGS:
        return None
    time = sky.time_s[rows]
    reach = time[0] - singular
    step = float(np.median(np.diff(sky.time_s)))
    trials = time[0] - reach * np.geomspace(0.6, 1.6, 13)
    trials = trials[time[0] - trials > 0.7 * step]
    trials = trials[(trials >= sky.singular_s.min()) & (trials <= sky.singular_s.max())]
    if not len(trials):
        return None
    T = time - trials[:, None]
    tolerance = sky.tolerance_px(T)
    basis = np.stack([np.ones_like(T), 1 / T, T], axis=2)
    weight = np.ones_like(T)
    if start is not None:
        miss = np.linalg.norm(start.at(time) - xy_px, axis=1) / tolerance
        weight = 1 / (1 + (miss / 2) ** 2)
    for _ in range(2):
        weighed = basis * (weight / tolerance**2)[:, :, None]
        normal, told = weighed.transpose(0, 2, 1) @ basis, weighed.transpose(0, 2, 1) @ xy_px
        x = np.zeros((len(trials), 3))
        x[:, :2] = _solved(normal[:, :2, :2], told[:, :2, 0])
        if fall_px_s is not None:
            normal[:, 2, 2] += fall_px_s[1] ** -2.0
            told[:, 2, 1] += fall_px_s[0] / fall_px_s[1] ** 2
        y = _solved(normal, told[:, :, 1])
        miss2 = ((basis @ np.stack([x, y], axis=2) - xy_px) ** 2).sum(axis=2)
        weight = 1 / (1 + miss2 / (2 * tolerance) ** 2)
    best = int(np.log1p(miss2 / (2 * tolerance) ** 2).sum(axis=1).argmin())
    return Perspective(singular_s=float(trials[best]), x=x[best], y=y[best])


def _solved(normal: FloatArray, told: FloatArray) -> FloatArray:
    """Solve (k, n, n) normal equations for (k, n), their columns scaled alike."""
    scale = np.sqrt(np.diagonal(normal, axis1=1, axis2=2))
    alike = normal / (scale[:, :, None] * scale[:, None, :]) + TINY * np.eye(normal.shape[1])
    return np.asarray(np.linalg.solve(alike, (told / scale)[:, :, None])[:, :, 0] / scale)


def _distinct(guesses: list[Guess], most: int) -> list[Guess]:
    """Drop paths that share most of their candidates with a better one."""
    kept: list[Guess] = []
    for guess in guesses:
        mine = set(guess.chosen[guess.first : guess.last + 1]) - {-1}
        if all(
            len(mine & set(other.chosen[other.first : other.last + 1])) < 0.3 * len(mine)
            for other in kept
        ):
            kept.append(replace(guess))
        if len(kept) == most:
            break
    return kept
