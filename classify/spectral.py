"""The joint fit: flight path and swing together, from one nock track to modes with their errors.

A track and priors go in, a `Spectrum` comes out, or an `Unread` that says why not. What makes an
arrow swing is not known here: what to expect comes as `Priors`.

The model of `classify.motion` is fitted to both axes at once by variable projection. Rigid yaw and
pitch are always part of it, with priors, since a film of one flight holds hardly a period of them;
faster oscillations are added one at a time where the least-squares spectrum gains most, as long as
the Bayesian information criterion [1]_ and a false-alarm threshold both demand it.

References
----------
.. [1] G. Schwarz, "Estimating the dimension of a model", Annals of Statistics 6 (1978) 461-464.
.. [2] P. J. Huber, "Robust estimation of a location parameter", Annals of Mathematical Statistics
   35 (1964) 73-101.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.stats import chi2

from classify.motion import PATH_LINEAR, PATH_NONLINEAR, Oscillation, Picture, swing_about_path
from classify.scan import amplitude_limit, false_alarm_gain, scan
from classify.separable import Problem, Solution, solve
from classify.types import Estimate, Limit, Mode, Motion, Priors, Spectrum, Unread
from tracker.types import FloatArray, IntArray, Track, message

LEAST_ROWS = 10
"""Fewer sightings than this do not outnumber the parameters of a path with one mode."""

FALSE_ALARM = 0.002
"""Probability that noise alone makes a mode, chosen here."""

MOST_FAST_MODES = 4
FAST_FROM_HZ = 5.0
HIDING_BAND_HZ = (7.0, 50.0)
ALIASES_BELOW_HZ = 250.0
DECAYS_PER_S = np.array([1.0, 6.0, 18.0])
FAST_DECAY = Estimate(value=6.0, sigma=8.0)
"""Decay of everything but yaw before it is seen, 1/s; chosen here, wide."""

BAD_AT_SIGMA = 3.0
"""Rows further out than this lose weight."""


def fit_swing(track: Track, priors: Priors) -> Spectrum | Unread:
    """Fit path and swing of one flight.

    Parameters
    ----------
    track
        The nock's path, NaN rows where it was not seen.
    priors
        What is expected of the flight.

    Returns
    -------
    Spectrum or Unread
        The modes with their covariance; or why the track does not hold enough.
    """
    rows = np.flatnonzero(track.seen & np.isfinite(track.sigma_px).all(axis=1))
    rows = rows[(rows >= track.first_frame) & (rows <= track.last_frame)]
    if len(rows) < LEAST_ROWS:
        return Unread(
            reason=message("motion.too_few_rows", found=len(rows), needed=LEAST_ROWS),
        )
    fit = _Fit.of(track, rows, priors)
    fit = _add_fast_modes(_fit_path_and_yaw(fit))
    fit = _split_yaw(_refit_from_other_yaws(fit))
    return _spectrum(fit, rows)


@dataclass(frozen=True, kw_only=True, eq=False)
class _Fit:
    """A track with a model and, after `refit`, its solution."""

    t: FloatArray
    xy: FloatArray
    sigma: FloatArray
    step_s: float
    priors: Priors
    oscillations: tuple[Oscillation, ...]
    swing_px_s: float
    weight: FloatArray
    solution: Solution | None = None

    @classmethod
    def of(cls, track: Track, rows: IntArray, priors: Priors) -> _Fit:
        t = track.time_s[rows] - track.time_s[rows[0]]
        sigma = track.sigma_px[rows]
        flown = track.time_s[track.first_frame : track.last_frame + 1]
        return cls(
            t=t,
            xy=track.xy_px[rows],
            sigma=sigma,
            step_s=float(np.median(np.diff(flown))),
            priors=priors,
            oscillations=(),
            swing_px_s=priors.swing_m * priors.fall_px_s.value if priors.fall_px_s else 1.0,
            weight=1 / sigma.T.ravel(),
        )

    @property
    def sol(self) -> Solution:
        """The solution, where there is one."""
        if self.solution is None:
            raise RuntimeError("not fitted yet")
        return self.solution

    @property
    def span_s(self) -> float:
        return float(self.t[-1])

    @property
    def nyquist_hz(self) -> float:
        return 0.5 / self.step_s

    @property
    def picture(self) -> Picture:
        return Picture(t_s=self.t, oscillations=self.oscillations)

    def problem(self) -> Problem:
        """State the least-squares problem with its priors."""
        p = self.priors
        tau, kappa, roll = p.singular_time_s, p.drag_per_s, p.roll_rad
        rows = [
            (np.log(tau.value), tau.sigma, np.log(1e-3), np.log(30.0)),
            (kappa.value, kappa.sigma, -0.5, 2.0),
            (roll.value, roll.sigma, -0.5, 0.5),
        ]
        low, high = self.yaw_band()
        for oscillation in self.oscillations:
            if oscillation.slow:
                f, z = p.yaw_hz, p.yaw_damping_ratio
                rows.append((np.log(f.value), f.sigma, np.log(low), np.log(high)))
                rows.append((z.value, z.sigma, -0.05, 0.6))
            else:
                top = max(0.995 * self.nyquist_hz, FAST_FROM_HZ + 1e-3)
                rows.append((0.0, np.inf, np.log(FAST_FROM_HZ), np.log(top)))
                rows.append((FAST_DECAY.value, FAST_DECAY.sigma, -3.0, 80.0))
        mean, sd, lower, upper = np.array(rows).T
        linear_precision = np.full(PATH_LINEAR + 4 * len(self.oscillations), self.swing_px_s**-2)
        linear_precision[:PATH_LINEAR] = 0.0
        linear_mean = np.zeros_like(linear_precision)
        if p.fall_px_s is not None:
            linear_precision[4] = p.fall_px_s.sigma**-2
            linear_mean[4] = p.fall_px_s.value
        return Problem(
            columns=self.picture.columns,
            data=self.xy.T.ravel(),
            weight=self.weight,
            mean=mean,
            precision=sd**-2.0,
            lower=lower,
            upper=upper,
            linear_precision=linear_precision,
            linear_mean=linear_mean,
        )

    def yaw_band(self) -> tuple[float, float]:
        """Give where yaw is looked for: 2.5 sigma about its prior."""
        f = self.priors.yaw_hz
        reach = float(np.exp(2.5 * f.sigma))
        return f.value / reach, f.value * reach

    def refit(self, *starts: FloatArray) -> _Fit:
        """Solve from every start and keep the lowest."""
        problem = self.problem()
        best = min((solve(problem, start) for start in starts), key=lambda s: s.cost)
        return replace(self, solution=best)

    def reweigh(self) -> _Fit:
        """Take weight from rows far out and match the claimed sigma to the residual."""
        for _ in range(3):
            sol = self.sol
            n = len(self.t)
            raw = sol.residual / self.weight / self.sigma.T.ravel()
            d2 = raw[:n] ** 2 + raw[n:] ** 2
            # The median of chi-square with 2 degrees of freedom is 2 ln 2.
            spread = max(1.0, float(np.median(d2)) / (2 * np.log(2)) * 2 * n / self.freedom())
            share = np.minimum(1.0, BAD_AT_SIGMA**2 / np.maximum(d2 / spread, 1e-12))
            scale2 = max(1.0, float(np.sum(share * d2)) / self.freedom(share))
            weight = np.tile(np.sqrt(share / scale2), 2) / self.sigma.T.ravel()
            change = np.abs(weight / self.weight - 1).max()
            self = replace(self, weight=weight).refit(sol.nonlinear)  # noqa: PLW0642
            if change < 0.02:
                break
        return self

    def freedom(self, share: FloatArray | None = None) -> float:
        """Rows less the parameters that the data, not the priors, decide."""
        J = self.sol.jacobian[: 2 * len(self.t)]
        used = float(np.sum((J @ self.sol.covariance()) * J))
        rows = 2 * len(self.t) if share is None else 2 * float(share.sum())
        return max(rows - used, 1.0)


def _fit_path_and_yaw(fit: _Fit) -> _Fit:
    """Start from a grid of camera distances and yaw frequencies."""
    taus = (
        np.geomspace(0.02, 2.0, 9)
        if fit.priors.singular_time_s.sigma > 0.3
        else np.array([fit.priors.singular_time_s.value])
    )
    kappa = fit.priors.drag_per_s.value
    # The path alone tells about how large a swing is, through the fall.
    path = fit.refit(*(np.array([np.log(tau), kappa, 0.0]) for tau in taus[::2]))
    if fit.priors.fall_px_s is None:
        G, sigma_G = path.sol.linear[4], float(np.sqrt(path.sol.covariance()[7, 7]))
        floor = float(np.hypot(max(G, 0.0), min(sigma_G, abs(G) + 10.0)))
        fit = replace(fit, swing_px_s=fit.priors.swing_m * max(floor, 1.0))
    fit = replace(fit, oscillations=(Oscillation(slow=True),))
    problem = fit.problem()
    zeta = fit.priors.yaw_damping_ratio.value
    low, high = fit.yaw_band()
    starts = [
        np.array([np.log(tau), kappa, 0.0, np.log(f), zeta])
        for tau in (*taus, float(np.exp(path.sol.nonlinear[0])))
        for f in np.geomspace(low * 1.15, high / 1.15, 6)
    ]
    costs = [solve(problem, start, steps=1).cost for start in starts]
    order = np.argsort(costs)[:4]
    return fit.refit(*(starts[i] for i in order)).reweigh()


def _add_fast_modes(fit: _Fit) -> _Fit:
    """Add oscillations while the evidence demands them."""
    grid = _fast_grid(fit)
    if len(grid) < 2:
        return fit
    needed = max(
        6 * np.log(2 * len(fit.t)),  # four amplitudes, frequency, decay
        false_alarm_gain(grid, fit.span_s, FALSE_ALARM),
    )
    for _ in range(MOST_FAST_MODES):
        found = scan(fit.sol, fit.t, fit.weight, grid, DECAYS_PER_S, fit.swing_px_s**-2)
        peaks = [peak for peak in found.peaks(3) if peak[0] > 0.4 * needed]
        if not peaks:
            return fit
        wider = replace(fit, oscillations=(*fit.oscillations, Oscillation(slow=False)))
        wider = wider.refit(
            *(np.concatenate([fit.sol.nonlinear, [np.log(f), d]]) for _, f, d in peaks)
        )
        # Where the tracker's sigma is too small, the residual that remains sets the scale.
        scale2 = max(1.0, float(np.sum(wider.sol.residual**2)) / wider.freedom())
        if (fit.sol.cost - wider.sol.cost) / scale2 < needed:
            return fit
        fit = wider.reweigh()
    return fit


def _fast_grid(fit: _Fit) -> FloatArray:
    return np.arange(FAST_FROM_HZ, fit.nyquist_hz, 0.25 / fit.span_s)


def _refit_from_other_yaws(fit: _Fit) -> _Fit:
    """Leave a local minimum of yaw that was chosen before the fast modes were known."""
    low, high = fit.yaw_band()
    starts = [fit.sol.nonlinear]
    for f in np.geomspace(low * 1.2, high / 1.2, 4):
        start = fit.sol.nonlinear.copy()
        start[PATH_NONLINEAR] = np.log(f)
        start[PATH_NONLINEAR + 1] = fit.priors.yaw_damping_ratio.value
        starts.append(start)
    return fit.refit(*starts).reweigh()


def _split_yaw(fit: _Fit) -> _Fit:
    """Give yaw and pitch frequencies of their own where the evidence demands it."""
    rest = fit.oscillations[1:]
    apart = replace(
        fit,
        oscillations=(
            Oscillation(slow=True, axes=(1, 0)),
            Oscillation(slow=True, axes=(0, 1)),
            *rest,
        ),
    )
    theta = fit.sol.nonlinear
    i, j = PATH_NONLINEAR, PATH_NONLINEAR + 2
    apart = apart.refit(np.concatenate([theta[:i], theta[i:j], theta[i:j], theta[j:]]))
    needed = 2 * np.log(2 * len(fit.t)) + 5.0
    return apart.reweigh() if fit.sol.cost - apart.sol.cost > needed else fit


def _spectrum(fit: _Fit, rows: IntArray) -> Spectrum:
    """Turn the solution into modes, limits and the swing about the path."""
    sol = fit.sol
    covariance = sol.covariance()
    q = len(sol.nonlinear)
    modes = [_mode(fit, covariance, k) for k in range(len(fit.oscillations))]
    yaw_stays = _yaw_stands_out(fit)
    kept = [m for m, o in zip(modes, fit.oscillations, strict=True) if yaw_stays or not o.slow]
    kept.sort(key=lambda m: -float(np.hypot(*m.amplitude)))
    swing, sigma, fitted, path_px = swing_about_path(
        fit.picture, sol.nonlinear, sol.linear, fit.xy, fit.sigma
    )
    raw = sol.residual / fit.weight / fit.sigma.T.ravel()
    share = fit.weight * fit.sigma.T.ravel()
    share2 = share**2 / np.max(share) ** 2
    tau = float(np.exp(sol.nonlinear[0]))
    return Spectrum(
        modes=tuple(kept),
        motion=Motion(
            time_s=fit.t,
            swing=swing,
            sigma=sigma,
            fitted=fitted,
            path_px=path_px,
            frame=rows.astype(np.float64),
        ),
        singular_time_s=Estimate(value=tau, sigma=tau * float(np.sqrt(covariance[0, 0]))),
        fall_px_s=_fall(fit, float(sol.linear[4]), float(covariance[q + 4, q + 4])),
        noise_px=float(np.sqrt(np.sum(share2 * (sol.residual / fit.weight) ** 2) / np.sum(share2))),
        chi2_per_dof=float(np.sum(share2 * raw**2)) / fit.freedom(share2[: len(fit.t)]),
        lowest_hz=1 / fit.span_s,
        highest_hz=fit.nyquist_hz,
        aliases=tuple(aliases_of(m.f_hz, 1 / fit.step_s) for m in kept),
        halves_agree=_halves_agree(fit),
        criterion="BIC",
        limits=_limits(fit, modes),
        path_parameters=(
            float(sol.nonlinear[0]),
            float(sol.nonlinear[1]),
            float(sol.nonlinear[2]),
        ),
    )


def _mode(fit: _Fit, covariance: FloatArray, k: int) -> Mode:
    """Turn one oscillation into a `Mode`, the noise's share taken off its amplitude."""
    sol, oscillation = fit.sol, fit.oscillations[k]
    q = len(sol.nonlinear)
    i, j = PATH_NONLINEAR + 2 * k, q + PATH_LINEAR + 4 * k
    f, damping = float(np.exp(sol.nonlinear[i])), float(sol.nonlinear[i + 1])
    # From (ln f, damping) to (f, decay).
    change = np.eye(6)
    change[0, 0] = f
    if oscillation.slow:
        decay = 2 * np.pi * f * damping
        change[1, 0], change[1, 1] = decay, 2 * np.pi * f
    else:
        decay = damping
    place = np.concatenate([[i, i + 1], np.arange(j, j + 4)])
    C = change @ covariance[np.ix_(place, place)] @ change.T
    # Noise widens an amplitude only through the two components at known frequency and decay: an
    # error of the phase that a wrong frequency brings leaves the amplitude alone.
    held = np.linalg.inv(np.linalg.inv(covariance[q:, q:]))
    linear = sol.linear[PATH_LINEAR + 4 * k : PATH_LINEAR + 4 * k + 4]
    amplitude, phase, sigma = np.zeros(2), np.zeros(2), np.zeros(2)
    for axis in (0, 1):
        c = linear[2 * axis : 2 * axis + 2]
        block = C[2 + 2 * axis : 4 + 2 * axis, 2 + 2 * axis : 4 + 2 * axis]
        a = float(np.hypot(*c))
        phase[axis] = np.arctan2(c[1], c[0])
        along = c / a if a > 0 else np.array([1.0, 0.0])
        across = np.array([-along[1], along[0]])
        free = held[
            PATH_LINEAR + 4 * k + 2 * axis : PATH_LINEAR + 4 * k + 2 * axis + 2,
            PATH_LINEAR + 4 * k + 2 * axis : PATH_LINEAR + 4 * k + 2 * axis + 2,
        ]
        noise = float(across @ free @ across)
        amplitude[axis] = np.sqrt(max(a**2 - noise, 0.0))
        sigma[axis] = np.sqrt(float(along @ block @ along))
    return Mode(
        f_hz=f,
        decay_per_s=decay,
        amplitude=amplitude,
        phase_rad=phase,
        sigma_f_hz=float(np.sqrt(C[0, 0])),
        sigma_decay_per_s=float(np.sqrt(C[1, 1])),
        sigma_amplitude=sigma,
        covariance=C,
        f_from_prior=oscillation.slow
        and float(np.sqrt(C[0, 0])) / f > fit.priors.yaw_hz.sigma / np.sqrt(2),
    )


def _yaw_stands_out(fit: _Fit) -> bool:
    """Whether noise alone would gain as much from yaw less often than `FALSE_ALARM`."""
    theta = fit.sol.nonlinear
    kept = np.ones(len(theta), dtype=bool)
    for k, oscillation in enumerate(fit.oscillations):
        if oscillation.slow:
            kept[PATH_NONLINEAR + 2 * k : PATH_NONLINEAR + 2 * k + 2] = False
    without = replace(fit, oscillations=tuple(o for o in fit.oscillations if not o.slow))
    gain = without.refit(theta[kept]).sol.cost - fit.sol.cost
    return gain > float(chi2.isf(FALSE_ALARM, 4))


def _fall(fit: _Fit, value: float, variance: float) -> Estimate | None:
    """Take the prior out of G again, so that it can be combined with it once, elsewhere."""
    prior = fit.priors.fall_px_s
    if prior is not None:
        information = 1 / variance - prior.sigma**-2
        if information <= 0:
            return None
        value = (value / variance - prior.value / prior.sigma**2) / information
        variance = 1 / information
    return Estimate(value=value, sigma=float(np.sqrt(variance)))


def aliases_of(f_hz: float, rate_hz: float) -> tuple[float, ...]:
    """List the frequencies above Nyquist that look like `f_hz` at a frame rate.

    Parameters
    ----------
    f_hz
        Frequency as seen, below Nyquist.
    rate_hz
        Frames per second.

    Returns
    -------
    tuple of float
        Rising, up to `ALIASES_BELOW_HZ`.

    Examples
    --------
    >>> aliases_of(35.0, 120.0)
    (85.0, 155.0, 205.0)
    """
    turns = range(1, int(ALIASES_BELOW_HZ / rate_hz) + 2)
    images = sorted(k * rate_hz + sign * f_hz for k in turns for sign in (-1, 1))
    return tuple(round(f, 6) for f in images if rate_hz / 2 < f <= ALIASES_BELOW_HZ)


def _halves_agree(fit: _Fit) -> bool:
    """Test whether the modes keep their amplitudes from one half of the flight to the other.

    Every amplitude gets a change at half time, all other parameters refitted along; chance makes
    so large a gain once in a thousand flights.
    """
    sol, n = fit.sol, len(fit.t)
    phi, _ = fit.picture.columns(sol.nonlinear)
    late = np.tile(np.where(fit.t > fit.span_s / 2, 1.0, -1.0), 2)
    extra = phi[:, PATH_LINEAR:] * late[:, None] * fit.weight[:, None]
    norms = np.linalg.norm(sol.jacobian, axis=0)
    Q, _ = np.linalg.qr(sol.jacobian / np.where(norms > 0, norms, 1.0))
    X = extra - Q[: 2 * n] @ (Q[: 2 * n].T @ extra)
    # Rows of the priors take part in the projection with zeros for the extra columns.
    X_prior = -Q[2 * n :] @ (Q[: 2 * n].T @ extra)
    gram = X.T @ X + X_prior.T @ X_prior
    g = extra.T @ sol.residual
    gram += np.eye(len(g)) * fit.swing_px_s**-2
    gain = float(g @ np.linalg.solve(gram, g))
    return gain < float(chi2.isf(1e-3, len(g)))


def _limits(fit: _Fit, modes: list[Mode]) -> tuple[Limit, ...]:
    """Say how wide yaw and a fast swing could still be, beside the modes found."""
    slow = [m for m, o in zip(modes, fit.oscillations, strict=True) if o.slow]
    low, high = fit.yaw_band()
    widest = np.max([amplitude_limit(m.amplitude, m.sigma_amplitude) for m in slow], axis=0)
    limits = [Limit(low_hz=low, high_hz=high, amplitude=widest)]
    grid = _fast_grid(fit)
    if len(grid) > 1:
        found = scan(fit.sol, fit.t, fit.weight, grid, DECAYS_PER_S[:1], fit.swing_px_s**-2)
        fast_low, fast_high = HIDING_BAND_HZ
        top = min(fast_high, fit.nyquist_hz)
        taken = np.array(
            [m.f_hz for m, o in zip(modes, fit.oscillations, strict=True) if not o.slow]
        )
        hide = found.could_hide(fast_low, top, taken, 1.5 / fit.span_s)
        limits.append(Limit(low_hz=fast_low, high_hz=top, amplitude=hide))
    return tuple(limits)
