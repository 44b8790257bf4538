"""What a fit knows of its parameters when the yaw frequency is all but unknown.

A `JointFit` goes in, a mixture of Gaussians comes out, one for each yaw frequency on a grid, and
from it the modes with honest errors.

A flight of less than a period leaves a long valley: slow and wide, or quick and narrow. There the
minimum is no fair picture of the whole, so the yaw frequency is integrated over numerically and all
other parameters by Laplace's approximation, as in [1]_. Where the frequency is well seen, the grid
shrinks to the minimum itself.

References
----------
.. [1] H. Rue, S. Martino, N. Chopin, "Approximate Bayesian inference for latent Gaussian models by
   using integrated nested Laplace approximations", J. Royal Statistical Society B 71 (2009)
   319-392.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from classify.chances import normal_below, rice_below
from classify.joint_fit import G_AT, JointFit
from classify.motion import PATH_LINEAR, PATH_NONLINEAR
from classify.separable import Solution, solve
from classify.types import Estimate, Mode
from tracker.types import FloatArray

WELL_SEEN = 0.05
"""Relative error of the yaw frequency up to which the minimum speaks for the whole."""

QUIET = 0.15
"""How far a flight without yaw may still swing, in usual swings; chosen here."""

GRID = 15
"""Yaw frequencies of the mixture."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Posterior:
    """A mixture of Gaussians over all parameters.

    Attributes
    ----------
    fit
        The fit whose yaw frequency lies nearest to the mean.
    weight
        (k,) summing to 1.
    solutions
        k minima, each at its own yaw frequency.
    covariances
        k matrices (q + p, q + p).
    log_volume
        Logarithm of the integral of the likelihood times the priors' exponentials, over all
        parameters, without the powers of 2 pi that the priors' own norms cancel.
    """

    fit: JointFit
    weight: FloatArray
    solutions: tuple[Solution, ...]
    covariances: tuple[FloatArray, ...]
    log_volume: float

    def presence(self, quiet: Solution) -> float:
        """Give the probability that there is yaw at all, even odds beforehand.

        Parameters
        ----------
        quiet
            Minimum of the same model without yaw, under the same weights.

        Returns
        -------
        float
            By the evidence of the two models, Laplace's approximation over all but the frequency.
        """
        p = self.fit.priors
        with_yaw = self.log_volume
        with_yaw -= np.log(p.yaw_hz.sigma * np.sqrt(2 * np.pi))
        with_yaw -= np.log(p.yaw_damping_ratio.sigma) + 4 * np.log(self.fit.swing_px_s)
        without = -(quiet.cost + _log_determinant(quiet.jacobian)) / 2
        return float(1 / (1 + np.exp(np.clip(without - with_yaw, -700, 700))))

    def estimate(self, value: FloatArray, variance: FloatArray) -> Estimate:
        """Put together means and variances of one quantity, one per solution.

        Parameters
        ----------
        value, variance
            (k,) each.

        Returns
        -------
        Estimate
            Mean and standard deviation of the mixture.
        """
        mean = float(self.weight @ value)
        return Estimate(
            value=mean, sigma=float(np.sqrt(self.weight @ (variance + (value - mean) ** 2)))
        )

    def singular_time_s(self) -> Estimate:
        """Give the camera distance over speed at the first followed frame."""
        tau = np.array([np.exp(s.nonlinear[0]) for s in self.solutions])
        variance = np.array([c[0, 0] for c in self.covariances]) * tau**2
        return self.estimate(tau, variance)

    def fall_px_s(self) -> Estimate:
        """Give focal length over speed, the prior on it included."""
        at = len(self.solutions[0].nonlinear) + G_AT
        return self.estimate(
            np.array([s.linear[G_AT] for s in self.solutions]),
            np.array([c[at, at] for c in self.covariances]),
        )

    def mode(self, k: int) -> Mode:
        """Turn oscillation `k` into a `Mode`, the noise's share taken off its amplitude."""
        slow = self.fit.oscillations[k].slow
        views = [
            _view(solution, covariance, k, slow=slow)
            for solution, covariance in zip(self.solutions, self.covariances, strict=True)
        ]
        numbers = np.array([v.numbers for v in views])
        mean = self.weight @ numbers
        off = numbers - mean
        C = np.einsum("k,kij->ij", self.weight, np.array([v.covariance for v in views]))
        C += np.einsum("k,ki,kj->ij", self.weight, off, off)
        amplitude, sigma = np.zeros(2), np.zeros(2)
        for axis in (0, 1):
            whole = self.estimate(
                np.array([v.amplitude[axis] for v in views]),
                np.array([v.variance[axis] for v in views]),
            )
            amplitude[axis], sigma[axis] = whole.value, whole.sigma
        f, sigma_f = float(mean[0]), float(np.sqrt(C[0, 0]))
        return Mode(
            f_hz=f,
            decay_per_s=float(mean[1]),
            amplitude=amplitude,
            phase_rad=np.arctan2(mean[3::2], mean[2::2]),
            sigma_f_hz=sigma_f,
            sigma_decay_per_s=float(np.sqrt(C[1, 1])),
            sigma_amplitude=sigma,
            covariance=C,
            slow=slow,
            f_from_prior=bool(slow and sigma_f / f > self.fit.priors.yaw_hz.sigma / np.sqrt(2)),
        )

    def amplitude_limit(self, k: int, presence: float) -> FloatArray:
        """Give the amplitudes of oscillation `k` that are exceeded with 5 % probability.

        Parameters
        ----------
        k
            Which oscillation.
        presence
            Probability that it is there at all; if not, it is as small as `QUIET`.

        Returns
        -------
        numpy.ndarray
            (2,) across and up-down, px·s; each part of the mixture taken as Rice-distributed.
        """
        limits = np.full(2, QUIET * self.fit.swing_px_s)
        if presence <= 0.05:
            return limits
        for axis in (0, 1):
            at, spread = [], []
            for solution, covariance in zip(self.solutions, self.covariances, strict=True):
                q = len(solution.nonlinear)
                j = q + PATH_LINEAR + 4 * k + 2 * axis
                at.append(float(np.hypot(*solution.linear[j - q : j - q + 2])))
                spread.append(float(np.sqrt(np.trace(covariance[j : j + 2, j : j + 2]) / 2)))
            a, s = np.array(at), np.maximum(np.array(spread), 1e-300)
            low, high = 0.0, float((a + 5 * s).max())
            for _ in range(30):
                middle = (low + high) / 2
                below = float(self.weight @ _rice_share_below(middle, a, s))
                low, high = (middle, high) if below < 1 - 0.05 / presence else (low, middle)
            limits[axis] = max(limits[axis], high)
        return limits


def _rice_share_below(limit: float, amplitude: FloatArray, sigma: FloatArray) -> FloatArray:
    """Share of a Rice distribution below a limit; far from the axis a normal one."""
    ratio = amplitude / sigma
    near = rice_below(limit / sigma, np.minimum(ratio, 30.0))
    return np.where(ratio < 30.0, near, normal_below((limit - amplitude) / sigma))


@dataclass(frozen=True, kw_only=True, eq=False)
class _View:
    """One oscillation in one solution: (f, decay, x cos, x sin, y cos, y sin) and amplitudes."""

    numbers: FloatArray
    covariance: FloatArray
    amplitude: FloatArray
    variance: FloatArray


def _view(solution: Solution, covariance: FloatArray, k: int, *, slow: bool) -> _View:
    q = len(solution.nonlinear)
    i, j = PATH_NONLINEAR + 2 * k, q + PATH_LINEAR + 4 * k
    f, damping = float(np.exp(solution.nonlinear[i])), float(solution.nonlinear[i + 1])
    change = np.eye(6)  # from (ln f, damping) to (f, decay)
    change[0, 0] = f
    decay = damping
    if slow:
        decay = 2 * np.pi * f * damping
        change[1, 0], change[1, 1] = decay, 2 * np.pi * f
    place = np.concatenate([[i, i + 1], np.arange(j, j + 4)])
    C = change @ covariance[np.ix_(place, place)] @ change.T
    linear = solution.linear[j - q : j - q + 4]
    # Noise widens an amplitude only through the components at known frequency and decay: an error
    # of the phase that a wrong frequency brings leaves the amplitude alone.
    held = C[2:, 2:] - C[2:, :2] @ np.linalg.pinv(C[:2, :2], hermitian=True) @ C[:2, 2:]
    amplitude, variance = np.zeros(2), np.zeros(2)
    for axis in (0, 1):
        pair = slice(2 * axis, 2 * axis + 2)
        c = linear[pair]
        a = float(np.hypot(*c))
        along = c / a if a > 0 else np.array([1.0, 0.0])
        across = np.array([-along[1], along[0]])
        noise = float(across @ held[pair, pair] @ across)
        amplitude[axis] = np.sqrt(max(a**2 - noise, 0.0))
        variance[axis] = float(along @ C[2:, 2:][pair, pair] @ along)
    return _View(
        numbers=np.concatenate([[f, decay], linear]),
        covariance=C,
        amplitude=amplitude,
        variance=variance,
    )


def posterior_of(fit: JointFit) -> Posterior:
    """Integrate over the yaw frequency.

    Parameters
    ----------
    fit
        At its minimum, its first oscillation the yaw.

    Returns
    -------
    Posterior
        Of one Gaussian where yaw is well seen.
    """
    covariance = fit.sol.covariance()
    at = PATH_NONLINEAR
    sigma = float(np.sqrt(covariance[at, at]))
    if sigma < WELL_SEEN:
        bottom = fit.sol.cost + _log_volume(fit.sol, at)
        return Posterior(
            fit=fit,
            weight=np.ones(1),
            solutions=(fit.sol,),
            covariances=(covariance,),
            log_volume=float(np.log(np.sqrt(2 * np.pi) * sigma) - bottom / 2),
        )
    low, high = np.log(fit.yaw_band())
    middle = float(fit.sol.nonlinear[at])
    grid = np.linspace(max(low, middle - 5 * sigma), min(high, middle + 5 * sigma), GRID)
    solutions = _along(fit, grid)
    depth = np.array([s.cost + _log_volume(s, at) for s in solutions])
    weight = np.exp(-(depth - depth.min()) / 2)
    log_volume = float(np.log(weight.sum() * (grid[1] - grid[0])) - depth.min() / 2)
    weight /= weight.sum()
    mean = float(weight @ grid)
    nearest = int(np.argmin(np.abs(grid - mean)))
    keep = np.flatnonzero(weight > 1e-4 * weight.max())
    return Posterior(
        fit=replace(fit, solution=solutions[nearest]),
        weight=weight[keep] / weight[keep].sum(),
        solutions=tuple(solutions[i] for i in keep),
        covariances=tuple(_held(solutions[i], at, grid[1] - grid[0]) for i in keep),
        log_volume=log_volume,
    )


def _along(fit: JointFit, grid: FloatArray) -> list[Solution]:
    """Minimise over everything else at each yaw frequency, outwards from the minimum."""
    at = PATH_NONLINEAR
    problem = fit.problem()
    middle = int(np.argmin(np.abs(grid - fit.sol.nonlinear[at])))
    found: dict[int, Solution] = {}
    for steps in (range(middle, len(grid)), range(middle - 1, -1, -1)):
        start = found[middle].nonlinear if middle in found else fit.sol.nonlinear
        for i in steps:
            lower, upper = problem.lower.copy(), problem.upper.copy()
            lower[at] = upper[at] = grid[i]
            found[i] = solve(replace(problem, lower=lower, upper=upper), start, steps=12, tol=1e-3)
            start = found[i].nonlinear
    return [found[i] for i in range(len(grid))]


def _log_volume(solution: Solution, at: int) -> float:
    """Logarithm of the determinant of the normal matrix of all parameters but one."""
    return _log_determinant(np.delete(solution.jacobian, at, axis=1))


def _log_determinant(jacobian: FloatArray) -> float:
    """Logarithm of the determinant of the normal matrix."""
    R = np.linalg.qr(jacobian, mode="r")
    return 2 * float(np.sum(np.log(np.abs(np.diag(R)) + 1e-300)))


def _held(solution: Solution, at: int, step: float) -> FloatArray:
    """Covariance of everything else at a held parameter, itself uniform over a step of the grid."""
    whole = solution.covariance()
    free = np.delete(np.arange(len(whole)), at)
    # Held: what is left of the others once the parameter is known.
    slope = whole[free, at] / whole[at, at]
    held = np.zeros_like(whole)
    held[np.ix_(free, free)] = whole[np.ix_(free, free)] - np.outer(slope, slope) * whole[at, at]
    within = step**2 / 12
    full = np.zeros(len(whole))
    full[free], full[at] = slope, 1.0
    return held + within * np.outer(full, full)
