"""Places of a nock go in, the moment the arrow stops goes out, if it can be told.

A stopped arrow keeps its place in the picture but for a dying tremble, while its path would have
carried it on; the last frame of flight is the one that splits the places best into a smooth path
and a standstill where that path ends.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tracker.strays import steady_line
from tracker.types import BoolArray, FloatArray, IntArray

LOOK_BACK = 60
"""Last places, but for those of a standstill, by which a path is judged. Over 90 frames the
smooth path bent less than a swinging one, and two demos of six were said to strike 20 to 25 ms too
early."""

JOINS, JOINS_PX = 5, 0.3
"""Places by which a flight is carried on to where it stands, and how far from there that may end,
beside the tremble (chosen here): an arrow does not leap."""

TREMBLE = 0.25
"""Share of the nock's diameter by which one that stands trembles (chosen here)."""

FEWEST_STILL = 4
"""Frames of standstill that tell an impact (chosen here)."""

CONVINCING = 30.0
"""By how much a standstill must fit better than flight to the end (chosen here)."""

BENDS = 0.15
"""Share of the way by which a path may leave the line that carries it on (chosen here)."""

MOMENTS = 9
"""Moments between two places at which a flight may have ended."""

NO_MATTER = 60.0
"""Cost over the least at which a split weighs nothing."""

LEAST_SPREAD = 0.2
"""Share of the claimed errors below which no scatter is believed (chosen here)."""

WORSE = 9.0
"""Squared residual, in variances, beyond which a place says no more against a split."""


@dataclass(frozen=True, kw_only=True)
class Landing:
    """When the arrow stopped.

    Attributes
    ----------
    row
        Last row of the flight.
    time_s, sigma_s
        Moment of the impact and its standard error, the clock of the given times.
    """

    row: int
    time_s: float
    sigma_s: float


def landing(
    time_s: FloatArray, xy_px: FloatArray, sigma_px: FloatArray, size_px: FloatArray
) -> Landing | None:
    """Find the moment after which the places no longer move on.

    Parameters
    ----------
    time_s
        (n,)
    xy_px, sigma_px
        (n, 2) places and their standard errors, NaN where not seen.
    size_px
        (n,) diameter the nock would have if it flew on, which goes as one over T, the time since
        the singular time of `tracker.path`; a stopped arrow trembles by a share of it.

    Returns
    -------
    Landing or None
        None if the arrow flies to the end, or too slowly in the picture to tell.
    """
    rows = np.nonzero(np.isfinite(xy_px[:, 0]))[0]
    rows = rows[-LOOK_BACK - _about_the_last(xy_px[rows], size_px[rows]) :]
    if len(rows) < 5 * FEWEST_STILL:
        return None
    # perspective flight is linear in 1, 1/T and T; the squares take up drag and slow swing
    w = size_px[rows] / size_px[rows].mean()
    basis = np.stack([np.ones_like(w), w, 1 / w, w**2, 1 / w**2], axis=1)
    xy = xy_px[rows]
    moving = np.hypot(sigma_px[rows], 0.15)
    still = np.hypot(sigma_px[rows], TREMBLE * size_px[rows, None])
    least = max(12, len(rows) // 4)
    ends = np.arange(least, len(rows) + 1)
    step = float(np.median(np.diff(time_s)))
    middle = np.array([_between(time_s, rows, int(e), step) for e in ends])
    cost = _split(basis, xy, moving, still, ends)
    cost[-1] -= CONVINCING
    least_cost = np.inf
    for k in np.argsort(cost).tolist():
        if cost[k] > least_cost + NO_MATTER:
            break  # whatever its leap, it is out of the question
        if k < len(ends) - 1:
            cost[k] += _leap(time_s[rows], xy, sigma_px[rows], size_px[rows], int(ends[k]))
        least_cost = min(least_cost, cost[k])
    best = int(cost.argmin())
    end = int(ends[best])
    if end > len(rows) - FEWEST_STILL:
        return None
    weight = np.exp(-0.5 * np.clip(cost - cost[best], 0, NO_MATTER))
    gap = float(time_s[int(rows[end])] - time_s[int(rows[end - 1])])
    mean = float((weight * middle).sum() / weight.sum())
    spread = float((weight * (middle - mean) ** 2).sum() / weight.sum())
    return Landing(
        row=int(rows[end - 1]),
        time_s=mean,
        sigma_s=float(np.sqrt(spread + gap**2 / 12)),
    )


def _about_the_last(xy: FloatArray, size: FloatArray) -> int:
    """Count the last places that lie about the very last ones."""
    if len(xy) <= FEWEST_STILL:
        return 0
    away = np.linalg.norm(xy - np.median(xy[-FEWEST_STILL:], axis=0), axis=1)
    moved = np.flatnonzero(away > JOINS_PX + 3 * TREMBLE * size)
    return len(xy) - 1 - int(moved[-1]) if len(moved) else 0


def _between(time_s: FloatArray, rows: IntArray, end: int, step: float) -> float:
    last = float(time_s[int(rows[end - 1])])
    return 0.5 * (last + float(time_s[int(rows[end])])) if end < len(rows) else last + step / 2


def _leap(
    time_s: FloatArray, xy: FloatArray, sigma: FloatArray, size: FloatArray, end: int
) -> float:
    """Chi-square of how far from a flight up to a row, carried on, the nock stands from that row.

    It may have stopped at any moment between the two; the further it is carried, the less is known.
    """
    last = slice(max(end - JOINS, 0), end)
    since = time_s[last] - time_s[last].mean()
    moments = np.linspace(time_s[end - 1], time_s[end], MOMENTS)
    line = steady_line(time_s[last], xy[last], moments)
    gap = line - np.median(xy[end:], axis=0)
    turned = np.median(sigma[last]) * (moments - time_s[last].mean())
    bent = BENDS * np.linalg.norm(line - line[0], axis=1)
    unsure = JOINS_PX**2 + (TREMBLE * size[end - 1]) ** 2 + turned**2 / (since**2).sum() + bent**2
    return float(((gap**2).sum(axis=1) / unsure).min())


def _split(
    basis: FloatArray, xy: FloatArray, moving: FloatArray, still: FloatArray, ends: IntArray
) -> FloatArray:
    """(m,) costs of a flight up to each end and a standstill from there."""
    total = np.zeros(len(ends))
    flying = np.arange(len(xy)) < ends[:, None]
    for axis in (0, 1):
        y, root = xy[:, axis], np.where(flying, 1 / moving[:, axis], 0.0)
        weight, z = root, np.zeros_like(root)
        for _ in range(2):
            Q = np.linalg.qr(basis * weight[:, :, None])[0]
            fitted = np.einsum("mnk,mk->mn", Q, np.einsum("mnk,mn->mk", Q, y * weight))
            z = (y - fitted / np.where(flying, weight, 1.0)) * root
            weight = root / np.sqrt(1 + z**2 / WORSE)
        total += _cost(z, moving[:, axis], flying, basis.shape[1])
        rest = (y - _middle(np.broadcast_to(y, flying.shape), ~flying)) / still[:, axis]
        total += _cost(rest, still[:, axis], ~flying, 1)
    return total


def _cost(z: FloatArray, sigma: FloatArray, there: BoolArray, fitted: int) -> FloatArray:
    """(m,) twice the negative log-likelihood of (m, n) residuals that are there.

    Claimed errors may be too large. Neighbouring places share much of a claimed error: a standstill
    scatters by far less.
    """
    count = there.sum(axis=1, keepdims=True)
    free = np.maximum(count - fitted, 1)
    spread = 1.4826 * _middle(np.abs(z), there) * np.sqrt(count / free)
    spread = np.where(count >= FEWEST_STILL, np.clip(spread, LEAST_SPREAD, 1.0), 1.0)
    each = np.minimum((z / spread) ** 2, WORSE) + 2 * np.log(sigma * spread)
    return np.asarray(each.sum(axis=1, where=there))


def _middle(values: FloatArray, there: BoolArray) -> FloatArray:
    """(m, 1) median of the (m, n) values that are there; of all where none is, and nobody asks."""
    told = there | ~there.any(axis=1, keepdims=True)
    return np.asarray(np.nanmedian(np.where(told, values, np.nan), axis=1, keepdims=True))
