"""Geometry and noise of a flight that was never filmed go in, the errors of its fit come out.

The picture model, its derivatives and the way its covariance is worked out are those of the joint
fit itself (`classify.motion`, `classify.separable`); nothing is simulated.

References
----------
.. [1] C. R. Rao, Linear Statistical Inference and Its Applications: the inverse of the information
   matrix bounds the covariance of any unbiased estimate, and least squares reaches it for small
   noise.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from classify.motion import (
    PATH_LINEAR,
    PATH_NONLINEAR,
    Oscillation,
    Picture,
    distance_over_speed,
)
from classify.scan import false_alarm_gain
from classify.separable import Solution
from classify.slow_swing import JITTER_MM, shared_errors
from classify.types import Estimate, Priors
from tracker.types import FloatArray

YAW, FAST, BENDING = 0, 1, 2
"""Order of the oscillations in the model of a planned flight."""

OSCILLATIONS = (Oscillation(slow=True), Oscillation(slow=False), Oscillation(slow=False))

FALSE_ALARM = 0.002
"""Probability that noise alone makes a swing; the reading's own."""

FAST_FROM_HZ = 5.0
"""Where the reading begins to look for fast swings."""

FAST_DECAY = Estimate(value=6.0, sigma=8.0)
"""Decay of everything but yaw before it is seen, 1/s, as in the reading."""

FAST_SPREAD = 0.5
"""Sigma of the logarithm of the fast swing's frequency before the clip; wide, chosen here."""

BENDING_SWING_M = 0.002
BENDING_DECAY_PER_S = 18.0
"""An ordinary finger release leaves about so much bending, dying out so fast; chosen here."""

POWER_95 = 1.6449
"""Standard deviations above a threshold at which a value passes it in 95 of 100 cases."""

PHASES = 8

FAST_ROOM = 1.4
"""How much wider than its bound a fast swing is asked to be. The joint fit believes the noisiest of
the bands that it leaves over, so that a swing must stand out from more than what it is told: of 40
planned flights it found 30 at the bound, 35 at 1.15 times and all at twice it (2026-11-29)."""

SEEN_SIGMAS = 2.0
"""Standard errors of its own from which the reading shows a swing (`classify.label`)."""

SLOW_BOUNDS_M = (1e-4, 0.2)
"""Between these the smallest slow swing is sought: no arrow yaws by more than 25 degrees."""

SLOW_HALVINGS, SLOW_PHASES = 9, 4
"""To 1 % of the width; chosen here."""


@dataclass(frozen=True, kw_only=True, eq=False)
class PlannedFlight:
    """A flight as the camera would have it.

    Attributes
    ----------
    t_s
        (n,) times of the frames in which the nock would be seen, from the first of them.
    sigma_px
        (n,) tracker noise along each axis.
    px_s_per_m
        Focal length over speed: turns metres of swing into the model's px·s.
    path
        (5,) linear parameters of the path: alpha_x, B_x, alpha_y, B_y, G.
    priors
        What is known beside the clip, as the fit will be told.
    fast_hz, bending_hz
        Frequency of the fast swing to look for; of the shaft's bending, sigma of the logarithm.
    frame_hz
        Frames a second.
    """

    t_s: FloatArray
    sigma_px: FloatArray
    px_s_per_m: float
    path: FloatArray
    priors: Priors
    fast_hz: float
    bending_hz: Estimate
    frame_hz: float

    @property
    def picture(self) -> Picture:
        """The model of the joint fit at these times."""
        return Picture(t_s=self.t_s, oscillations=OSCILLATIONS)

    @property
    def jitter_px(self) -> FloatArray:
        """(n,) motion of the nock that no mode describes, as the reading allows for."""
        s, _ = distance_over_speed(self.t_s, self.priors.drag_per_s.value)
        away_s = self.priors.singular_time_s.value + s
        return 1e-3 * JITTER_MM * self.px_s_per_m / away_s

    def nonlinear(self) -> tuple[FloatArray, FloatArray]:
        """Give value and prior sigma of the nonlinear parameters.

        Returns
        -------
        value, sigma
            (9,) each: ln tau, kappa, roll, then (ln f, damping) of yaw, fast swing and bending.
        """
        p = self.priors
        rows = (
            (np.log(p.singular_time_s.value), p.singular_time_s.sigma),
            (p.drag_per_s.value, p.drag_per_s.sigma),
            (p.roll_rad.value, p.roll_rad.sigma),
            (np.log(p.yaw_hz.value), p.yaw_hz.sigma),
            (p.yaw_damping_ratio.value, p.yaw_damping_ratio.sigma),
            (np.log(self.fast_hz), FAST_SPREAD),
            (FAST_DECAY.value, FAST_DECAY.sigma),
            (np.log(self.bending_hz.value), self.bending_hz.sigma),
            (BENDING_DECAY_PER_S, FAST_DECAY.sigma),
        )
        value, sigma = np.array(rows).T
        return value, sigma

    def linear(self, swing_m: tuple[float, float], phase_rad: float) -> FloatArray:
        """Give the linear parameters of a flight that swings across.

        Parameters
        ----------
        swing_m
            Zero to peak of yaw and of the fast swing at the nock, metres.
        phase_rad
            Of both at the first frame.

        Returns
        -------
        numpy.ndarray
            (17,) path, then four components for each oscillation.
        """
        components = np.zeros((len(OSCILLATIONS), 4))
        for k, size in ((YAW, swing_m[0]), (FAST, swing_m[1]), (BENDING, BENDING_SWING_M)):
            turn = phase_rad if k != BENDING else 0.0
            components[k, :2] = size * self.px_s_per_m * np.array([np.cos(turn), np.sin(turn)])
        return np.concatenate([self.path, components.ravel()])


def flight_covariance(
    flight: PlannedFlight, linear: FloatArray, sigma: FloatArray, *, shared: bool = False
) -> FloatArray:
    """Covariance of all parameters that the reading would claim.

    Parameters
    ----------
    flight
        The flight.
    linear
        (17,) linear parameters at which the model is linearised.
    sigma
        (9,) prior sigma of the nonlinear parameters.
    shared
        Whether neighbouring places share part of their error, as the reading allows for where it
        tells the slow swing (`classify.slow_swing`); else as the joint fit takes them.

    Returns
    -------
    numpy.ndarray
        (26, 26), nonlinear parameters first; with shared errors eight more rows and columns at the
        end, which stand for those.
    """
    theta, _ = flight.nonlinear()
    phi, dphi = flight.picture.columns(theta)
    sigma_px = np.tile(flight.sigma_px, 2)
    precision = np.full(phi.shape[1], (flight.priors.swing_m * flight.px_s_per_m) ** -2.0)
    precision[:PATH_LINEAR] = 0.0
    if flight.priors.fall_px_s is not None:
        precision[PATH_LINEAR - 1] = flight.priors.fall_px_s.sigma**-2.0
    if shared:
        errors = shared_errors(flight.t_s, np.stack([flight.sigma_px, flight.sigma_px], axis=1))
        phi = np.concatenate([phi, errors], axis=1)
        dphi = np.pad(dphi, ((0, 0), (0, 0), (0, errors.shape[1])))
        linear = np.pad(linear, (0, errors.shape[1]))
        precision = np.pad(precision, (0, errors.shape[1]), constant_values=1.0)
        sigma_px = np.hypot(sigma_px, np.tile(flight.jitter_px, 2))
    weight = 1 / sigma_px
    rows, p, q = len(weight), phi.shape[1], len(theta)
    jacobian = np.zeros((rows + p + q, q + p))
    jacobian[:rows, :q] = (dphi @ linear).T * weight[:, None]
    jacobian[:rows, q:] = phi * weight[:, None]
    jacobian[rows : rows + p, q:] = np.diag(np.sqrt(precision))
    jacobian[rows + p :, :q] = np.diag(1 / sigma)
    return Solution(
        nonlinear=theta,
        linear=linear,
        cost=0.0,
        residual=np.zeros(rows),
        jacobian=jacobian,
        converged=True,
    ).covariance()


def smallest_swing_m(flight: PlannedFlight) -> tuple[float, float]:
    """Smallest swing across that the reading would show in 95 of 100 flights, whatever its phase.

    A slow swing is shown once it is twice as wide as its error. That error grows with the swing, as
    long as the clip leaves its frequency open: a slower and wider one looks almost the same.

    The fit counts a fast swing as found once it lowers the weighted squares by more than noise
    alone would (false alarms one in 500) and by more than the Bayesian information criterion asks
    for six parameters. A swing of size a lowers them by ``(a / sigma)²``.

    Parameters
    ----------
    flight
        The flight.

    Returns
    -------
    tuple of float
        Yaw of the frequency that is expected and fast swing, metres, zero to peak at the first
        frame.
    """
    return _smallest_slow_m(flight), _smallest_fast_m(flight)


def _smallest_slow_m(flight: PlannedFlight) -> float:
    """Halve, on a logarithmic scale, the span in which the smallest slow swing lies."""
    low, high = np.log(SLOW_BOUNDS_M)
    for _ in range(SLOW_HALVINGS):
        middle = (low + high) / 2
        size_m = float(np.exp(middle))
        if size_m >= (SEEN_SIGMAS + POWER_95) * _slow_sigma_m(flight, size_m):
            high = middle
        else:
            low = middle
    return float(np.exp((low + high) / 2))


def _slow_sigma_m(flight: PlannedFlight, size_m: float) -> float:
    """Error of the width of a slow swing in its worst phase."""
    _, sigma = flight.nonlinear()
    first = len(sigma) + PATH_LINEAR + 4 * YAW
    variance = []
    for phase in np.pi * np.arange(SLOW_PHASES) / SLOW_PHASES:
        linear = flight.linear((size_m, 0.0), float(phase))
        C = flight_covariance(flight, linear, sigma, shared=True)
        way = np.array([np.cos(phase), np.sin(phase)])
        variance.append(way @ C[first : first + 2, first : first + 2] @ way)
    return float(np.sqrt(max(variance))) / flight.px_s_per_m


def _smallest_fast_m(flight: PlannedFlight) -> float:
    _, sigma = flight.nonlinear()
    C = flight_covariance(flight, flight.linear((0.0, 0.0), 0.0), sigma)
    span = float(flight.t_s[-1])
    grid = np.arange(FAST_FROM_HZ, max(flight.frame_hz / 2, FAST_FROM_HZ + 1), 0.25 / span)
    needed = max(6 * np.log(2 * len(flight.t_s)), false_alarm_gain(grid, span, FALSE_ALARM))
    # the prior on its size is no part of what the clip tells: take it out again
    first = len(sigma) + PATH_LINEAR + 4 * FAST
    block = C[first : first + 2, first : first + 2]
    size = (flight.priors.swing_m * flight.px_s_per_m) ** -2.0
    told = np.linalg.eigvalsh(np.linalg.inv(block) - size * np.eye(2))[0]
    worst = 1 / np.sqrt(max(told, 1e-12 * size))
    return float((np.sqrt(needed) + POWER_95) * FAST_ROOM * worst) / flight.px_s_per_m


def frequency_sigma_hz(flight: PlannedFlight, swing_m: tuple[float, float]) -> tuple[float, float]:
    """Give the standard error of the two frequencies as the clip alone would tell them.

    Parameters
    ----------
    flight
        The flight.
    swing_m
        Zero to peak of yaw and of the fast swing, metres.

    Returns
    -------
    tuple of float
        Yaw and fast swing, Hz, root mean square over the phase at the first frame; what physics
        expects of the yaw is left out.
    """
    theta, sigma = flight.nonlinear()
    places = [PATH_NONLINEAR + 2 * YAW, PATH_NONLINEAR + 2 * FAST]
    alone = sigma.copy()
    alone[places] = 100.0
    variance = np.zeros(2)
    for phase in np.pi * np.arange(PHASES) / PHASES:
        linear = flight.linear(swing_m, float(phase))
        for i, place in enumerate(places):
            C = flight_covariance(flight, linear, alone, shared=i == YAW)
            variance[i] += C[place, place] / PHASES
    yaw, fast = np.exp(theta[places]) * np.sqrt(variance)
    return float(yaw), float(fast)
