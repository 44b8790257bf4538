"""Which rows of a track show free flight: neither the string's push before nor the butt after.

A fit to the sure middle of a flight goes in, the rows at both ends that agree with it come out.
Where the arrow is on the string it gathers speed, which no path of free flight does; and so near
to the camera a few such rows would bend the whole fit.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from classify.joint_fit import PINHOLE_SIGMA_PX, JointFit
from classify.motion import Picture
from tracker.types import FloatArray, IntArray, Track

STROKE_S = 0.03
"""The string pushes for about 20 ms, half a metre at half of 55 m/s; chosen here with room."""

END_S = 0.05
"""At the end a small nock before a bright face may be lost for another spot, or stick in the butt;
chosen here."""

LEAST_CORE = 16
"""A middle shorter than this decides nothing about its ends."""

STRANGE = 16.0
"""Squared distance in sigmas, of two coordinates, that a row of free flight hardly has
(p = 3e-4)."""


def free_flight_core(track: Track, rows: IntArray) -> IntArray:
    """Give the middle of a flight, where it is surely free.

    Parameters
    ----------
    track
        The nock's path.
    rows
        (n,) frames in which it was seen.

    Returns
    -------
    numpy.ndarray
        Those at least `STROKE_S` from the first and `END_S` from the last; all rows of a
        flight too short for that.
    """
    t = track.time_s[rows]
    core = rows[(t >= t[0] + STROKE_S) & (t <= t[-1] - END_S)]
    return core if len(core) >= max(LEAST_CORE, 0.6 * len(rows)) else rows


def free_flight(fit: JointFit, track: Track, core: IntArray, rows: IntArray) -> IntArray:
    """Add to the middle of a flight the rows at its ends that agree with it.

    Parameters
    ----------
    fit
        Of the middle.
    track
        The nock's path.
    core, rows
        Frames of the middle, and all frames in which the nock was seen.

    Returns
    -------
    numpy.ndarray
        Frames of free flight, `core` among them.
    """
    kept = core
    for outward in (rows[rows > core[-1]], rows[rows < core[0]][::-1]):
        for place, row in enumerate(outward):
            ahead = _strangeness(fit, track, int(kept[0]), outward[place : place + 2])
            if ahead[0] > STRANGE:
                if len(ahead) == 1 or ahead[1] > STRANGE:
                    break  # the end of free flight
                continue  # one bad frame
            later = float(track.time_s[min(row, kept[0])] - track.time_s[kept[0]])
            kept = np.sort(np.append(kept, row))
            fit = _taken_up(fit, track, kept, later)
    return kept


def _taken_up(fit: JointFit, track: Track, rows: IntArray, later_s: float) -> JointFit:
    """Refit with one row more, time counted from the new first row."""
    start = fit.sol.nonlinear.copy()
    start[0] = np.log(max(float(np.exp(start[0])) + later_s, 1e-3))
    excess = float(np.median(1 / (fit.weight * fit.claimed)))
    wider = fit.on_rows(track, rows)
    return replace(wider, weight=wider.weight / excess).refit(start)


def _strangeness(fit: JointFit, track: Track, first: int, rows: IntArray) -> FloatArray:
    """Squared distance of rows from what the fit foresees, its own error counted in."""
    t = track.time_s[rows] - track.time_s[first]
    sol, n = fit.sol, len(rows)
    phi, dphi = Picture(t_s=t, oscillations=fit.oscillations).columns(sol.nonlinear)
    J = np.concatenate([(dphi @ sol.linear).T, phi], axis=1)
    foreseen = J @ sol.covariance() @ J.T
    excess = float(np.median(1 / (fit.weight * fit.claimed))) ** 2
    gap = (track.xy_px[rows].T.ravel() - phi @ sol.linear).reshape(2, n)
    distance = np.zeros(n)
    for i in range(n):
        at = [i, n + i]
        own = np.hypot(track.sigma_px[rows[i]], PINHOLE_SIGMA_PX) ** 2
        C = foreseen[np.ix_(at, at)] + np.diag(own) * excess
        distance[i] = gap[:, i] @ np.linalg.solve(C, gap[:, i])
    return distance
