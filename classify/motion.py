"""How a flight looks from behind: the picture of a path with a swing, and the swing back out.

In goes time, out come the columns of the picture model and, once it is fitted, the swing about the
flight path in pixel seconds. No frequency is looked for here, and nothing is known of arrows.

Everything runs in time, since a film alone tells no metres. With ``tau`` the time the arrow would
have needed from the camera to the first followed frame, ``s(t) = ln(1 + kappa t)/kappa`` its
distance from there in units of its speed (drag ``kappa`` = loss of speed per second as a fraction),
and ``D = tau + s`` the distance from the camera in the same unit, the picture is

    x = alpha_x + [B_x + sum of modes across] / D
    y = alpha_y - [B_y - G g q(t)/2 + sum of modes up-down] / D

with ``G`` = focal length over speed and ``q`` the fall under gravity, t^2 less what drag takes.
Amplitudes are therefore metres times focal length over speed: pixel seconds.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from classify.types import Motion
from tracker.types import FloatArray

GRAVITY_M_S2 = 9.81
"""Normal gravity between 30 and 60 degrees of latitude, within 0.1 %."""

PATH_NONLINEAR = 3
"""ln tau, kappa, roll: the parameters of the path that do not enter linearly."""

PATH_LINEAR = 5
"""alpha_x, B_x, alpha_y, B_y, G."""


def distance_over_speed(t_s: FloatArray, kappa: float) -> tuple[FloatArray, FloatArray]:
    """Give the way flown in units of the starting speed, with quadratic drag.

    Parameters
    ----------
    t_s
        (n,) time since the start, s.
    kappa
        Share of the speed lost per second at the start, 1/s.

    Returns
    -------
    s, ds
        (n,) ``ln(1 + kappa t)/kappa`` in seconds, and its derivative by kappa.

    Examples
    --------
    >>> s, _ = distance_over_speed(np.array([1.0]), 0.07)
    >>> round(float(s[0]), 4)
    0.9666
    """
    x = kappa * t_s
    if np.abs(x).max(initial=0.0) < 1e-3:
        return t_s * (1 - x / 2 + x**2 / 3), t_s**2 * (-1 / 2 + 2 * x / 3 - 3 * x**2 / 4)
    s = np.log1p(x) / kappa
    return s, (t_s / (1 + x) - s) / kappa


def fall_shape(t_s: FloatArray, kappa: float) -> tuple[FloatArray, FloatArray]:
    """Give twice the fall over gravity of a flat shot whose drag is quadratic.

    The vertical speed decays with the same ``kappa/(1 + kappa t)`` as the whole, so that
    ``q = (t + kappa t^2/2 - s)/kappa``, which is ``t^2`` without drag.

    Parameters
    ----------
    t_s
        (n,) time since the start, s.
    kappa
        Share of the speed lost per second at the start, 1/s.

    Returns
    -------
    q, dq
        (n,) in s^2, and its derivative by kappa.
    """
    x = kappa * t_s
    if np.abs(x).max(initial=0.0) < 1e-3:
        return t_s**2 * (1 - x / 3 + x**2 / 4), t_s**3 * (-1 / 3 + x / 2)
    s, ds = distance_over_speed(t_s, kappa)
    q = (t_s + kappa * t_s**2 / 2 - s) / kappa
    return q, (t_s**2 / 2 - ds - q) / kappa


@dataclass(frozen=True, kw_only=True)
class Oscillation:
    """One oscillation of the model, before its numbers are known.

    Attributes
    ----------
    slow
        Rigid yaw: phase and decay run with the way flown, and its second parameter is the damping
        ratio. Else both run with time and the second parameter is the decay per second.
    axes
        1 where it swings (across, up-down), else 0.
    """

    slow: bool
    axes: tuple[int, int] = (1, 1)


@dataclass(frozen=True, kw_only=True, eq=False)
class Picture:
    """The columns of the picture model at given times.

    Nonlinear parameters: ln tau, kappa, roll, then (ln f, damping) of every oscillation. Linear
    ones: alpha_x, B_x, alpha_y, B_y, G, then (across cos, across sin, up cos, up sin) of every
    oscillation, for ``a cos(2 pi f t + phase)`` being a cos(phase) and a sin(phase).

    Attributes
    ----------
    t_s
        (n,) times since the first followed frame.
    oscillations
        What swings.
    """

    t_s: FloatArray
    oscillations: tuple[Oscillation, ...]

    def columns(self, theta: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Give the matrix and its derivatives.

        Parameters
        ----------
        theta
            (q,) nonlinear parameters.

        Returns
        -------
        columns, derivatives
            (2 n, p) and (q, 2 n, p); the n rows of x first, then those of y.
        """
        t, n, many = self.t_s, len(self.t_s), len(self.oscillations)
        tau, kappa, roll = float(np.exp(theta[0])), float(theta[1]), float(theta[2])
        s, ds = distance_over_speed(t, kappa)
        q, dq = fall_shape(t, kappa)
        w = 1 / (tau + s)
        dw_tau, dw_kappa = -tau * w**2, -ds * w**2
        phi = np.zeros((2 * n, PATH_LINEAR + 4 * many))
        dphi = np.zeros((len(theta), *phi.shape))
        x, y = slice(0, n), slice(n, 2 * n)
        phi[x, 0] = phi[y, 2] = 1.0
        phi[x, 1], phi[y, 3] = w, -w
        dphi[0, x, 1], dphi[0, y, 3] = dw_tau, -dw_tau
        dphi[1, x, 1], dphi[1, y, 3] = dw_kappa, -dw_kappa
        half = GRAVITY_M_S2 / 2
        fall = half * q * w
        phi[x, 4], phi[y, 4] = roll * fall, fall
        dfall_tau, dfall_kappa = half * q * dw_tau, half * (dq * w + q * dw_kappa)
        dphi[0, x, 4], dphi[0, y, 4] = roll * dfall_tau, dfall_tau
        dphi[1, x, 4], dphi[1, y, 4] = roll * dfall_kappa, dfall_kappa
        dphi[2, x, 4] = fall
        for k, oscillation in enumerate(self.oscillations):
            f = float(np.exp(theta[PATH_NONLINEAR + 2 * k]))
            damping = float(theta[PATH_NONLINEAR + 2 * k + 1])
            p = s if oscillation.slow else t
            omega = 2 * np.pi * f
            decay = omega * damping if oscillation.slow else damping
            envelope = np.exp(-decay * p)
            pair = np.stack([envelope * np.cos(omega * p), -envelope * np.sin(omega * p)], axis=1)
            quarter = np.stack([pair[:, 1], -pair[:, 0]], axis=1)  # derivative by phase
            by_phase_rate, by_decay = quarter * p[:, None], -pair * p[:, None]
            parts = {0: pair * dw_tau[:, None], 1: pair * dw_kappa[:, None]}
            i = PATH_NONLINEAR + 2 * k
            if oscillation.slow:
                turning = omega * quarter - decay * pair
                parts[1] = parts[1] + turning * (ds * w)[:, None]
                parts[i] = (omega * by_phase_rate + decay * by_decay) * w[:, None]
                parts[i + 1] = omega * by_decay * w[:, None]
            else:
                parts[i] = omega * by_phase_rate * w[:, None]
                parts[i + 1] = by_decay * w[:, None]
            first = PATH_LINEAR + 4 * k
            across, up = slice(first, first + 2), slice(first + 2, first + 4)
            on_x, on_y = oscillation.axes
            phi[x, across], phi[y, up] = on_x * pair * w[:, None], -on_y * pair * w[:, None]
            for row, part in parts.items():
                dphi[row, x, across], dphi[row, y, up] = on_x * part, -on_y * part
        return phi, dphi


def swing_about_path(
    picture: Picture,
    theta: FloatArray,
    linear: FloatArray,
    xy_px: FloatArray,
    sigma_px: FloatArray,
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Undo the perspective: the swing that was measured, its error, the fitted one, the path.

    Parameters
    ----------
    picture
        The model at the times of the rows.
    theta, linear
        Its parameters.
    xy_px, sigma_px
        (n, 2) the nock in the picture, y down, with its standard error.

    Returns
    -------
    swing, sigma, fitted, path_px
        (n, 2) each; the first three in px·s with up positive, the path in pixels with y down.
    """
    n = len(picture.t_s)
    phi, _ = picture.columns(theta)
    path = phi[:, :PATH_LINEAR] @ linear[:PATH_LINEAR]
    modes = phi[:, PATH_LINEAR:] @ linear[PATH_LINEAR:]
    path_px = np.stack([path[:n], path[n:]], axis=1)
    s, _ = distance_over_speed(picture.t_s, float(theta[1]))
    away = (float(np.exp(theta[0])) + s)[:, None] * np.array([1.0, -1.0])
    swing = (xy_px - path_px) * away
    fitted = np.stack([modes[:n], modes[n:]], axis=1) * away
    return swing, sigma_px * np.abs(away), fitted, path_px


def picture_of_swing(motion: Motion, theta: FloatArray) -> FloatArray:
    """Put a swing back into the picture: the inverse of `swing_about_path`.

    Parameters
    ----------
    motion
        Swing about a path.
    theta
        (q,) nonlinear parameters it was found with.

    Returns
    -------
    numpy.ndarray
        (n, 2) the nock in the picture, pixels, y down.
    """
    s, _ = distance_over_speed(motion.time_s, float(theta[1]))
    away = (float(np.exp(theta[0])) + s)[:, None] * np.array([1.0, -1.0])
    return np.asarray(motion.path_px + motion.swing / away)
