"""A uniform free beam with masses stuck to it goes in, its bending modes come out.

Euler–Bernoulli theory without rotary inertia. Positions count from one end as a share of the
length L, masses as a share of the beam's own, ``mu = m / (rhoA L)``; a root is ``x = beta L``.

References
----------
.. [1] W. T. Thomson, Theory of Vibration, Appendix D: roots of the beam without masses.
.. [2] A. N. Krylov's functions, as in S. Timoshenko, Vibration Problems in Engineering: they carry
   (w, w', w'', w''') along a uniform beam, so that a mass is only a jump in the shear force.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy.optimize import brentq

from classify.physics.inputs import need_not_negative, need_positive
from tracker.types import FloatArray, InputError

MOST_ROOTS = 20
"""Above this a slender beam is no model of an arrow, and cosh outgrows the mantissa."""
SCAN_STEP = 0.05
"""Neighbouring roots of an arrow-like beam lie about 3 apart."""
LEAST_ROOT = 0.3
"""The rigid motions sit in a fourfold root at zero; what bends is above."""


def end_mass_roots(mu_1: float, mu_2: float, count: int) -> FloatArray:
    """Roots of the free beam with a mass at each end.

    Solves ``1 - cos x cosh x + (mu_1 + mu_2) x (sin x cosh x - cos x sinh x)
    + 2 mu_1 mu_2 x² sin x sinh x = 0`` after division by ``(1 + mu_1 x)(1 + mu_2 x) cosh x``, which
    moves no root and lets a mass be infinite (a pinned end).

    Parameters
    ----------
    mu_1, mu_2
        Mass at either end over the beam's own, 0 to infinity.
    count
        How many roots, 1 to 20.

    Returns
    -------
    numpy.ndarray
        (count,) rising.

    Raises
    ------
    InputError
        If a ratio is negative or not a number, or the count is out of range.

    Notes
    -----
    The n-th root lies between n·pi (both ends pinned) and just about (n + 1/2)·pi (no masses), so
    each has a bracket of its own and none can be missed.

    Examples
    --------
    >>> end_mass_roots(0.0, 0.0, 2).round(6)
    array([4.730041, 7.853205])
    """
    _need_count(count)
    for mu in (mu_1, mu_2):
        if mu != np.inf:
            need_not_negative("end mass ratio", mu)

    def determinant(x: float) -> float:
        (p1, q1), (p2, q2) = _shares(mu_1, x), _shares(mu_2, x)
        s, c, t = np.sin(x), np.cos(x), np.tanh(x)
        return float(
            q1 * q2 * (1 / np.cosh(x) - c) + (p1 * q2 + p2 * q1) * (s - c * t) + 2 * p1 * p2 * s * t
        )

    return np.array(
        [
            brentq(determinant, n * np.pi - 0.05, (n + 0.5) * np.pi + 0.05, xtol=1e-13)
            for n in range(1, count + 1)
        ]
    )


def _shares(mu: float, x: float) -> tuple[float, float]:
    """Return mu x / (1 + mu x) and 1 / (1 + mu x), also for an infinite mass."""
    return (1.0, 0.0) if mu == np.inf else (mu * x / (1 + mu * x), 1 / (1 + mu * x))


def lumped_roots(at: npt.ArrayLike, mu: npt.ArrayLike, count: int) -> FloatArray:
    """Roots of the free beam with masses anywhere along it.

    Parameters
    ----------
    at
        (k,) places of the masses, 0 to 1, rising.
    mu
        (k,) masses over the beam's own, finite.
    count
        How many roots, 1 to 20.

    Returns
    -------
    numpy.ndarray
        (count,) rising.

    Raises
    ------
    InputError
        If places or masses cannot be used, or the masses are so heavy that the beam no longer
        governs the motion.

    Notes
    -----
    A free end has w'' = w''' = 0. Columns one and two of the transfer matrix carry (w, w') of the
    first end to the other, where the same must hold again: a 2 by 2 determinant [2].

    Examples
    --------
    >>> lumped_roots([0.0, 1.0], [0.3, 0.1], 1).round(5)
    array([3.9501])
    """
    _need_count(count)
    places, masses = _need_lumps(at, mu)
    grid = np.arange(LEAST_ROOT, (count + 0.5) * np.pi + 2 * SCAN_STEP, SCAN_STEP)
    sign = np.sign(_determinant(grid, places, masses))
    starts = np.flatnonzero(sign[:-1] * sign[1:] <= 0)[:count]
    if len(starts) < count:
        raise InputError("plan.too_heavy", found=float(masses.sum()))
    return np.array(
        [
            brentq(
                lambda x: _determinant(np.array([x]), places, masses)[0],
                grid[i],
                grid[i + 1],
                xtol=1e-12,
            )
            for i in starts
        ]
    )


def _determinant(x: FloatArray, at: FloatArray, mu: FloatArray) -> FloatArray:
    """(n,) frequency determinant at (n,) trial roots."""
    T = _transfer(x, at, mu, 1.0)
    out: FloatArray = T[:, 2, 0] * T[:, 3, 1] - T[:, 2, 1] * T[:, 3, 0]
    return out


def _transfer(x: FloatArray, at: FloatArray, mu: FloatArray, to: float) -> FloatArray:
    """(n, 4, 2) state at place `to` per unit (w, w'/beta) at the first end, for (n,) roots."""
    state = np.zeros((len(x), 4, 2))
    state[:, 0, 0] = state[:, 1, 1] = 1
    place = 0.0
    for a, m in zip(at, mu, strict=True):
        if a > to:
            break
        state = _carry(x * (a - place)) @ state
        # shear jumps by the inertia force: w''' -> w''' + mu x w (in units of beta³)
        state[:, 3] += (m * x)[:, None] * state[:, 0]
        place = float(a)
    return _carry(x * (to - place)) @ state


def _carry(theta: FloatArray) -> FloatArray:
    """(n, 4, 4) Krylov's functions [2]: the state a stretch `theta` = beta·dx further on."""
    c, s, C, S = np.cos(theta), np.sin(theta), np.cosh(theta), np.sinh(theta)
    k0, k1, k2, k3 = (c + C) / 2, (s + S) / 2, (C - c) / 2, (S - s) / 2
    rows = [[k0, k1, k2, k3], [k3, k0, k1, k2], [k2, k3, k0, k1], [k1, k2, k3, k0]]
    return np.moveaxis(np.array(rows), 2, 0)


def mode_shape(
    place: npt.ArrayLike, root: float, at: npt.ArrayLike, mu: npt.ArrayLike
) -> FloatArray:
    """Deflection along the beam in one of its modes, 1 at the first end.

    Parameters
    ----------
    place
        (n,) where, 0 to 1.
    root
        One of `lumped_roots`.
    at, mu
        (k,) masses, as there.

    Returns
    -------
    numpy.ndarray
        (n,) deflection over that of the first end.

    Raises
    ------
    InputError
        If places or masses cannot be used.

    Examples
    --------
    >>> root = lumped_roots([], [], 1)[0]
    >>> mode_shape([0.0, 0.5, 1.0], root, [], []).round(4)
    array([ 1.    , -0.6078,  1.    ])
    """
    places, masses = _need_lumps(at, mu)
    where = np.atleast_1d(np.asarray(place, dtype=np.float64))
    x = np.array([need_positive("root", root)])
    end = _transfer(x, places, masses, 1.0)[0]
    # no bending moment at the far end: T20 w + T21 w' = 0
    start = np.array([1.0, -end[2, 0] / end[2, 1]])
    return np.array([_transfer(x, places, masses, float(z))[0, 0] @ start for z in where])


def mode_nodes(root: float, at: npt.ArrayLike, mu: npt.ArrayLike) -> FloatArray:
    """Places that stand still in one of the modes.

    Parameters
    ----------
    root
        One of `lumped_roots`.
    at, mu
        (k,) masses, as there.

    Returns
    -------
    numpy.ndarray
        Rising, 0 to 1.

    Raises
    ------
    InputError
        If places or masses cannot be used.

    Examples
    --------
    >>> mode_nodes(lumped_roots([], [], 1)[0], [], []).round(5)
    array([0.22416, 0.77584])
    """
    grid = np.linspace(0, 1, 201)
    w = mode_shape(grid, root, at, mu)
    starts = np.flatnonzero(w[:-1] * w[1:] < 0)
    return np.array(
        [
            brentq(lambda z: mode_shape([z], root, at, mu)[0], grid[i], grid[i + 1], xtol=1e-10)
            for i in starts
        ]
    )


def root_to_hz(root: float, stiffness_n_m2: float, kg_per_m: float, length_m: float) -> float:
    """Frequency that belongs to a root: f = x² / (2 pi) · sqrt(EI / (rhoA L⁴)).

    Parameters
    ----------
    root
        x = beta L.
    stiffness_n_m2
        EI of the beam.
    kg_per_m
        Its mass per metre, rhoA.
    length_m
        L.

    Returns
    -------
    float
        Hz.

    Raises
    ------
    InputError
        If a number is not positive and finite.

    Examples
    --------
    >>> round(root_to_hz(4.730040745, 6.365, 0.02092, 0.7112), 1)
    122.8
    """
    x = need_positive("root", root)
    EI = need_positive("stiffness_n_m2", stiffness_n_m2)
    rhoA = need_positive("shaft_kg_per_m", kg_per_m)
    L = need_positive("length_m", length_m)
    return float(x**2 / (2 * np.pi) * np.sqrt(EI / rhoA) / L**2)


def _need_count(count: int) -> None:
    if not 1 <= count <= MOST_ROOTS:
        raise InputError("plan.roots", found=count, most=MOST_ROOTS)


def _need_lumps(at: npt.ArrayLike, mu: npt.ArrayLike) -> tuple[FloatArray, FloatArray]:
    places = np.asarray(at, dtype=np.float64)
    masses = np.asarray(mu, dtype=np.float64)
    if places.ndim != 1 or places.shape != masses.shape:
        raise ValueError(f"masses have shape {masses.shape}, places {places.shape}")
    for mass in masses:
        need_not_negative("mass ratio", float(mass))
    if not (np.all((places >= 0) & (places <= 1)) and np.all(np.diff(places) >= 0)):
        raise InputError("plan.off_the_shaft")
    return places, masses
