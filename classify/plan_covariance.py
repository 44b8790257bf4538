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

from classify.chances import chi2_exceeded
from classify.motion import PATH_LINEAR, PATH_NONLINEAR, Oscillation, Picture
from classify.scan import false_alarm_gain
from classify.separable import Solution
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


def flight_covariance(flight: PlannedFlight, linear: FloatArray, sigma: FloatArray) -> FloatArray:
    """Covariance of all parameters that the joint fit would claim.

    Parameters
    ----------
    flight
        The flight.
    linear
        (17,) linear parameters at which the model is linearised.
    sigma
        (9,) prior sigma of the nonlinear parameters.

    Returns
    -------
    numpy.ndarray
        (26, 26), nonlinear parameters first.
    """
    theta, _ = flight.nonlinear()
    phi, dphi = flight.picture.columns(theta)
    weight = np.tile(1 / flight.sigma_px, 2)
    rows, p, q = len(weight), phi.shape[1], len(theta)
    precision = np.full(p, (flight.priors.swing_m * flight.px_s_per_m) ** -2.0)
    precision[:PATH_LINEAR] = 0.0
    if flight.priors.fall_px_s is not None:
        precision[PATH_LINEAR - 1] = flight.priors.fall_px_s.sigma**-2.0
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
    """Smallest swing across that the fit would find in 95 of 100 flights, whatever its phase.

    The fit counts a swing as found once it lowers the weighted squares by more than noise alone
    would (false alarms one in 500) and, for fast ones, by more than the Bayesian information
    criterion asks for six parameters. A swing of size a lowers them by ``(a / sigma)²``.

    Parameters
    ----------
    flight
        The flight.

    Returns
    -------
    tuple of float
        Yaw and fast swing, metres, zero to peak at the first frame.
    """
    _, sigma = flight.nonlinear()
    C = flight_covariance(flight, flight.linear((0.0, 0.0), 0.0), sigma)
    span = float(flight.t_s[-1])
    grid = np.arange(FAST_FROM_HZ, max(flight.frame_hz / 2, FAST_FROM_HZ + 1), 0.25 / span)
    needed = (
        chi2_exceeded(FALSE_ALARM, 4),
        max(6 * np.log(2 * len(flight.t_s)), false_alarm_gain(grid, span, FALSE_ALARM)),
    )
    smallest = []
    for k, threshold in zip((YAW, FAST), needed, strict=True):
        # the prior on its size is no part of what the clip tells: take it out again
        first = len(sigma) + PATH_LINEAR + 4 * k
        block = C[first : first + 2, first : first + 2]
        size = (flight.priors.swing_m * flight.px_s_per_m) ** -2.0
        told = np.linalg.eigvalsh(np.linalg.inv(block) - size * np.eye(2))[0]
        worst = 1 / np.sqrt(max(told, 1e-12 * size))
        smallest.append((np.sqrt(threshold) + POWER_95) * worst / flight.px_s_per_m)
    return float(smallest[0]), float(smallest[1])


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
        C = flight_covariance(flight, flight.linear(swing_m, float(phase)), alone)
        variance += np.diag(C)[places] / PHASES
    yaw, fast = np.exp(theta[places]) * np.sqrt(variance)
    return float(yaw), float(fast)
