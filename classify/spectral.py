"""The joint fit: flight path and swing together, from one nock track to modes with their errors.

A track and priors go in, a `Spectrum` comes out, or an `Unread` that says why not. What makes an
arrow swing is not known here: what to expect comes as `Priors`.

The model of `classify.motion` is fitted to both axes at once by variable projection. Rigid yaw and
pitch are always part of it, with priors, since a film of one flight holds hardly a period of them;
faster oscillations are added one at a time, starting where the least-squares spectrum gains most
and where the matrix pencil points, as long as the Bayesian information criterion [1]_ and a
false-alarm threshold both demand it.

References
----------
.. [1] G. Schwarz, "Estimating the dimension of a model", Annals of Statistics 6 (1978) 461-464.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
from threadpoolctl import ThreadpoolController

from classify.chances import chi2_exceeded
from classify.free_flight import free_flight, free_flight_core
from classify.joint_fit import FAST_FROM_HZ, G_AT, JointFit
from classify.motion import (
    PATH_LINEAR,
    PATH_NONLINEAR,
    Oscillation,
    distance_over_speed,
    swing_about_path,
)
from classify.pencil import longest_uniform_run, matrix_pencil, tones_of
from classify.posterior import Posterior, posterior_of
from classify.scan import false_alarm_gain, scan
from classify.separable import solve
from classify.types import Estimate, Limit, Mode, Motion, Priors, Spectrum, Unread
from tracker.types import FloatArray, IntArray, Track, message

LEAST_ROWS = 10
"""Fewer sightings than this do not outnumber the parameters of a path with one mode."""

FALSE_ALARM = 0.002
"""Probability that noise alone makes a mode, chosen here."""

SURE_OF_YAW = 0.95
"""Probability of yaw by the evidence from which it is kept all the same; chosen here."""

MOST_FAST_MODES = 4
LEAST_FALL_PX_S = 20.0
"""First guess at focal length over speed where the fall tells none: a short lens."""

HIDING_BAND_HZ = (7.0, 50.0)
PARTED_WAVES = 2.0
"""Waves over the flight by which two modes must differ to be told apart well; chosen here."""
ANOTHER_SWING = 0.4
"""A swing that changes by this share from half to half is another one; chosen here."""

ALIASES_BELOW_HZ = 250.0
DECAYS_PER_S = np.array([1.0, 6.0, 18.0])


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
    with _threads().limit(limits=1, user_api="blas"):
        core = free_flight_core(track, rows)
        fit = JointFit.of(track, core, priors)
        fit = _split_yaw(_fit_path_and_yaw(fit))
        fit = _refit_from_other_yaws(_add_fast_modes(fit))
        kept = free_flight(fit, track, core, rows)
        if len(kept) > len(core):
            start = fit.sol.nonlinear.copy()
            earlier = float(track.time_s[core[0]] - track.time_s[kept[0]])
            start[0] = np.log(max(float(np.exp(start[0])) - earlier, 1e-3))
            fit = _add_fast_modes(fit.on_rows(track, kept).refit(start).reweigh())
            fit = _refit_from_other_yaws(fit)
        fit = replace(fit, settled=True).reweigh()
        return _spectrum(_without_needless_modes(_split_yaw(fit)), kept)


@cache
def _threads() -> ThreadpoolController:
    """Matrices this small are slower with several threads, much slower on a busy machine."""
    return ThreadpoolController()


def _fit_path_and_yaw(fit: JointFit) -> JointFit:
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
        # Pitch can hide the fall or double it, so the first guess is generous.
        fit = fit.expect_swing(max(abs(float(path.sol.linear[G_AT])), LEAST_FALL_PX_S))
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
    fit = fit.refit(*(starts[i] for i in np.argsort(costs)[:4]))
    return _swing_by_fall(fit).reweigh()


def _swing_by_fall(fit: JointFit) -> JointFit:
    """Let the fall, fitted with pitch beside it, say how many px·s a usual swing has."""
    at = len(fit.sol.nonlinear) + G_AT
    G, sigma = float(fit.sol.linear[G_AT]), float(np.sqrt(fit.sol.covariance()[at, at]))
    if 2 * sigma > G:
        return fit
    return fit.expect_swing(G).refit(fit.sol.nonlinear)


def _add_fast_modes(fit: JointFit) -> JointFit:
    """Add oscillations while the evidence demands them."""
    grid = _fast_grid(fit)
    if len(grid) < 2:
        return fit
    needed = _gain_needed(fit)
    while sum(not o.slow for o in fit.oscillations) < MOST_FAST_MODES:
        found = scan(fit.sol, fit.t, fit.weight, grid, DECAYS_PER_S, fit.swing_px_s**-2)
        starts = [
            np.concatenate([fit.sol.nonlinear, [np.log(f), d]])
            for gain, f, d in found.peaks(3)
            if gain > 0.4 * needed
        ]
        if not starts and found.gain.max() < 0.25 * needed:
            return fit
        starts += [
            np.concatenate([fit.sol.nonlinear, [np.log(f), d]]) for f, d in _pencil_tones(fit)
        ]
        starts += _fast_taken_for_yaw(fit)
        if not starts:
            return fit
        wider = replace(fit, oscillations=(*fit.oscillations, Oscillation(slow=False)))
        wider = wider.refit(*starts)
        # Where the tracker's sigma is too small, the residual that remains sets the scale.
        scale2 = max(1.0, float(np.sum(wider.sol.residual**2)) / wider.freedom())
        if (fit.sol.cost - wider.sol.cost) / scale2 < needed:
            return fit
        fit = wider.reweigh()
    return fit


def _gain_needed(fit: JointFit) -> float:
    """Gain in weighted squares that the criterion and the false-alarm threshold both demand."""
    n = len(fit.t)
    # Each of four amplitudes is seen in one axis, frequency and decay are seen in both.
    criterion = 4 * np.log(n) + 2 * np.log(2 * n)
    return max(float(criterion), false_alarm_gain(_fast_grid(fit), fit.span_s, FALSE_ALARM))


def _without_needless_modes(fit: JointFit) -> JointFit:
    """Drop fast modes that no longer gain what they must, now that others came after them.

    And those that one stretch of the flight makes nearly alone.
    """
    k = len(fit.oscillations) - 1
    while k >= 0:
        if not fit.oscillations[k].slow:
            place = PATH_NONLINEAR + 2 * k
            start = np.delete(fit.sol.nonlinear, [place, place + 1])
            rest = fit.oscillations[:k] + fit.oscillations[k + 1 :]
            fewer = replace(fit, oscillations=rest).refit(start)
            if fewer.sol.cost - fit.sol.cost < _gain_needed(fit) or _made_by_few(fit, k):
                fit = fewer.reweigh()
        k -= 1
    return fit


def _made_by_few(fit: JointFit, k: int) -> bool:
    """Tell whether a fast mode is made by one stretch of the flight.

    A shaft's bending is gone after a few places, and of modes so near to each other that the flight
    does not part them none is wide by itself: together they are a swing that changes.
    """
    f_hz = np.exp(fit.sol.nonlinear[PATH_NONLINEAR::2])
    near = np.abs(f_hz - f_hz[k]) < PARTED_WAVES / fit.span_s
    fast = np.array([not oscillation.slow for oscillation in fit.oscillations])
    if f_hz[k] > HIDING_BAND_HZ[1] or (near & fast).sum() > 1:
        return False
    return fit.made_by_few(k, chi2_exceeded(FALSE_ALARM, 4))


def _pencil_tones(fit: JointFit) -> list[tuple[float, float]]:
    """Give the strongest tone that the matrix pencil finds in what the model leaves over."""
    n = len(fit.t)
    run = longest_uniform_run(fit.t, fit.step_s)
    if run.stop - run.start < LEAST_ROWS:
        return []
    tau, kappa = float(np.exp(fit.sol.nonlinear[0])), float(fit.sol.nonlinear[1])
    away = tau + distance_over_speed(fit.t, kappa)[0]
    left_px = (fit.sol.residual / fit.weight).reshape(2, n).T
    tones = tones_of(matrix_pencil((left_px * away[:, None])[run], 2), fit.step_s)
    return [(f, min(max(d, 0.0), 40.0)) for f, d in tones if FAST_FROM_HZ < f < fit.nyquist_hz]


def _fast_taken_for_yaw(fit: JointFit) -> list[FloatArray]:
    """Give starts in which what was fitted as quick yaw is a fast mode, with slower yaw beside."""
    theta, at = fit.sol.nonlinear, PATH_NONLINEAR
    usual, f = fit.priors.yaw_hz.value, float(np.exp(fit.sol.nonlinear[at]))
    if f < 1.5 * usual:
        return []
    starts = []
    for slower in (0.6 * usual, usual):
        start = np.concatenate([theta, [np.log(1.3 * f), 6.0]])
        start[at], start[at + 1] = np.log(slower), fit.priors.yaw_damping_ratio.value
        starts.append(start)
    return starts


def _fast_grid(fit: JointFit) -> FloatArray:
    return np.arange(FAST_FROM_HZ, fit.nyquist_hz, 0.25 / fit.span_s)


def _refit_from_other_yaws(fit: JointFit) -> JointFit:
    """Leave a local minimum of yaw that was chosen before the fast modes were known."""
    low, high = fit.yaw_band()
    starts = [fit.sol.nonlinear]
    for f in np.geomspace(low * 1.2, high / 1.2, 4):
        start = fit.sol.nonlinear.copy()
        start[PATH_NONLINEAR] = np.log(f)
        start[PATH_NONLINEAR + 1] = fit.priors.yaw_damping_ratio.value
        starts.append(start)
    return _swing_by_fall(_swing_by_fall(fit.refit(*starts))).reweigh()


def _split_yaw(fit: JointFit) -> JointFit:
    """Give yaw and pitch frequencies of their own where the evidence demands it."""
    if sum(o.slow for o in fit.oscillations) > 1:
        return fit
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


def _spectrum(fit: JointFit, rows: IntArray) -> Spectrum:
    """Turn the solution into modes, limits and the swing about the path."""
    posterior = posterior_of(fit)
    modes = [posterior.mode(k) for k in range(len(fit.oscillations))]
    quiet = _without_yaw(fit).sol
    presence = posterior.presence(quiet)
    # Noise alone would gain as much less often than the false-alarm probability.
    stands_out = quiet.cost - fit.sol.cost > chi2_exceeded(FALSE_ALARM, 4)
    yaw_stays = stands_out or presence > SURE_OF_YAW
    presence = 1.0 if yaw_stays else presence
    kept = [m for m, o in zip(modes, fit.oscillations, strict=True) if yaw_stays or not o.slow]
    kept.sort(key=lambda m: -float(np.hypot(*m.amplitude)))
    fit = posterior.fit
    sol = fit.sol
    swing, sigma, fitted, path_px = swing_about_path(
        fit.picture, sol.nonlinear, sol.linear, fit.xy, fit.sigma
    )
    raw_px = sol.residual / fit.weight
    share = (fit.weight * fit.claimed) ** 2
    share /= share.max()
    misfit = float(np.sum(share * (raw_px / fit.claimed) ** 2))
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
        singular_time_s=posterior.singular_time_s(),
        fall_px_s=_fall_alone(posterior.fall_px_s(), fit.priors.fall_px_s),
        noise_px=float(np.sqrt(np.sum(share * raw_px**2) / np.sum(share))),
        chi2_per_dof=misfit / fit.freedom(share[: len(fit.t)]),
        lowest_hz=1 / fit.span_s,
        highest_hz=fit.nyquist_hz,
        aliases=tuple(aliases_of(m.f_hz, 1 / fit.step_s) for m in kept),
        halves_agree=_halves_agree(fit),
        # Rows far out have less weight than the rest for a reason of their own.
        excess=float((fit.weight * fit.claimed).max() ** -2.0),
        criterion="BIC",
        limits=_limits(posterior, modes, presence),
        path_parameters=(
            float(sol.nonlinear[0]),
            float(sol.nonlinear[1]),
            float(sol.nonlinear[2]),
        ),
    )


def _without_yaw(fit: JointFit) -> JointFit:
    """Fit the same flight under the same weights, yaw and pitch left out."""
    theta = fit.sol.nonlinear
    kept = np.ones(len(theta), dtype=bool)
    for k, oscillation in enumerate(fit.oscillations):
        if oscillation.slow:
            kept[PATH_NONLINEAR + 2 * k : PATH_NONLINEAR + 2 * k + 2] = False
    without = replace(fit, oscillations=tuple(o for o in fit.oscillations if not o.slow))
    return without.refit(theta[kept])


def _fall_alone(whole: Estimate, prior: Estimate | None) -> Estimate | None:
    """Take the prior out of G again, so that it is combined with it once only, elsewhere."""
    if prior is None:
        return whole
    information = whole.sigma**-2 - prior.sigma**-2
    if information <= 0:
        return None
    value = (whole.value / whole.sigma**2 - prior.value / prior.sigma**2) / information
    return Estimate(value=value, sigma=float(information**-0.5))


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


def _halves_agree(fit: JointFit) -> bool:
    """Test whether the modes keep their amplitudes from one half of the flight to the other.

    Every amplitude gets a change at half time, all other parameters refitted along. The halves
    disagree where chance makes so large a gain less than once in a thousand flights and the change
    is large against the swing itself: no film is free of small errors that neighbouring frames
    share. What the change explains is no such error, so noise is what it leaves over.
    """
    sol, n = fit.sol, len(fit.t)
    phi, _ = fit.picture.columns(sol.nonlinear)
    late = np.tile(np.where(fit.t > fit.span_s / 2, 1.0, -1.0), 2)
    modes = phi[:, PATH_LINEAR:] * fit.weight[:, None]
    extra = modes * late[:, None]
    norms = np.linalg.norm(sol.jacobian, axis=0)
    Q, _ = np.linalg.qr(sol.jacobian / np.where(norms > 0, norms, 1.0))
    X = extra - Q[: 2 * n] @ (Q[: 2 * n].T @ extra)
    # Rows of the priors take part in the projection with zeros for the extra columns.
    X_prior = -Q[2 * n :] @ (Q[: 2 * n].T @ extra)
    gram = X.T @ X + X_prior.T @ X_prior
    g = extra.T @ sol.residual
    gram += np.eye(len(g)) * fit.swing_px_s**-2
    change = np.linalg.solve(gram, g)
    swing, changed = modes @ sol.linear[PATH_LINEAR:], extra @ change
    if float(changed @ changed) < ANOTHER_SWING**2 * float(swing @ swing):
        return True
    wider = np.concatenate([extra, np.zeros((len(sol.jacobian) - 2 * n, len(g)))])
    apart = replace(
        sol,
        residual=sol.residual - X @ change,
        jacobian=np.concatenate([sol.jacobian, wider], axis=1),
    )
    share = (fit.weight * fit.claimed)[:n] ** 2
    believed = float(share.max())  # one over the excess
    less = replace(fit, solution=apart).excess(share / believed) * believed
    return float(g @ change) / less < chi2_exceeded(1e-3, len(g))


def _limits(posterior: Posterior, modes: list[Mode], presence: float) -> tuple[Limit, ...]:
    """Say how wide yaw and a fast swing could still be, beside the modes found."""
    fit = posterior.fit
    slow = [k for k, oscillation in enumerate(fit.oscillations) if oscillation.slow]
    low, high = fit.yaw_band()
    widest = np.max([posterior.amplitude_limit(k, presence) for k in slow], axis=0)
    limits = [Limit(low_hz=low, high_hz=high, amplitude=widest)]
    grid = _fast_grid(fit)
    if len(grid) > 1:
        found = scan(fit.sol, fit.t, fit.weight, grid, DECAYS_PER_S[:1], fit.swing_px_s**-2)
        fast_low, fast_high = HIDING_BAND_HZ
        top = min(fast_high, fit.nyquist_hz)
        taken = np.array([m.f_hz for k, m in enumerate(modes) if k not in slow])
        hide = found.could_hide(fast_low, top, taken, 1.5 / fit.span_s)
        limits.append(Limit(low_hz=fast_low, high_hz=top, amplitude=hide))
    return tuple(limits)
