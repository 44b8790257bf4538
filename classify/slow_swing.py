"""How wide the slow swing is, when the flight hardly holds a period of it.

A fitted flight and the scale go in; the posterior of rigid yaw and pitch, summed over every
frequency and damping that the clip leaves open, comes out. Nothing is known of labels.

In an 18 m flight yaw shows half to one and a half periods, and a slower, wider swing with another
flight path looks almost like a faster, narrower one. A single best fit then says too much. Here the
frequency is laid on a grid; at each point everything else is linear or nearly so, so that the
amplitudes have a Gaussian posterior and the point a weight (its evidence) in closed form [1]_.
Their prior is a mixture, and so is that of what bends the path alike: a phone held askew across, a
fall that the lens tells wrongly up and down (`classify.slow_cases`).

Near the bow and far away the nock is placed worst, and a handful of places there can make a swing
out of nothing. So the posterior is averaged with those that the flight leaves without its first and
without its last stretch, as bagged posteriors are [2]_: where all agree that changes little, and
where the ends alone speak of a swing they no longer do so surely.

References
----------
.. [1] C. M. Bishop, "Pattern Recognition and Machine Learning" (2006), section 3.4.
.. [2] J. H. Huggins and J. W. Miller, "Reproducible model selection using bagged posteriors",
   Bayesian Analysis 18 (2023), 79-104; from memory.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import product

import numpy as np

from classify.joint_fit import G_AT
from classify.motion import (
    PATH_LINEAR,
    PATH_NONLINEAR,
    Oscillation,
    Picture,
    distance_over_speed,
)
from classify.slow_cases import WIDE_MM, Cases
from classify.slow_posterior import SlowSwing
from classify.types import Mode, Priors, Spectrum
from tracker.types import FloatArray, Track

ROLL = 2
"""Place of the tilt among the path's parameters."""

JITTER_MM = 0.25
"""Motion of the nock that no mode describes (flexing vanes, a roll that speeds up, a fast swing too
narrow to be told); chosen here."""

DRIFT, DRIFT_WAVES = 0.3, 4
"""Size of an error that neighbouring places share, over the believed one, and how many waves, from
none to one period and a half over the flight, make it up. The fit bends to such an error, so that
its residual does not tell of it. Tuned on rendered films: 0.25 to 0.5 leave fewest wrong labels on
hard ones, and the less it is the more slow swings of clear ones are named."""

WELL_SEEN = 0.05
"""Relative error of the yaw frequency below which one Gaussian describes it."""

END_SHARE, END_LEAST, END_WEIGHT = 0.125, 3, 0.2
"""What is left out at either end, of the places and at least, and the weight of each posterior
without it. Of 120 hard films' tracks one label that was wrong and 0.98 sure became 0.8 sure, at no
refusal more; of 300 simulated flights two more were refused, yaw's frequency lay within two sigmas
in 93 of 100 instead of 91 (2026-11-28). With a third instead of a fifth four more were refused."""

GRID = 25
REFINED = 9
ROUNDS = 3
DAMPING_NODES = ((-1.7320508, 1 / 6), (0.0, 2 / 3), (1.7320508, 1 / 6))
"""Gauss-Hermite nodes and weights of a normal law, three points."""


def slow_swing(
    track: Track, spectrum: Spectrum, *, priors: Priors, mm_per_px_s: float
) -> SlowSwing | None:
    """Sum over every yaw that the flight leaves open.

    Parameters
    ----------
    track
        The nock's path.
    spectrum
        The joint fit of the same track.
    priors
        As used for the fit.
    mm_per_px_s
        Scale: millimetres per pixel second.

    Returns
    -------
    SlowSwing or None
        None where the fit says it better, yaw and pitch being well seen. Where it gave them
        frequencies of their own and one is vague, errors that places share did it: an arrow is
        round, and here both have the same.
    """
    slow = [mode for mode in spectrum.modes if mode.slow]
    if slow and all(mode.sigma_f_hz < WELL_SEEN * mode.f_hz for mode in slow):
        return None
    fast = [mode for mode in spectrum.modes if not mode.slow]
    if spectrum.path_parameters is None:
        return None
    flight = _Flight.of(track, spectrum, fast, priors, mm_per_px_s)
    n = len(spectrum.motion.time_s)
    end = max(END_LEAST, round(END_SHARE * n))
    cut = flight.without(slice(0, end)), flight.without(slice(n - end, n))
    coarse = flight.ln_f_mean + flight.ln_f_sigma * np.linspace(-2.5, 2.5, GRID)
    found = [flight.at(ln_f, node, cut) for ln_f, node in product(coarse, DAMPING_NODES)]
    best = found[int(np.argmax([spots[0].log_evidence for spots in found]))][0].ln_f
    step = coarse[1] - coarse[0]
    fine = best + step * np.linspace(-1.5, 1.5, REFINED)
    found += [flight.at(ln_f, node, cut) for ln_f, node in product(fine, DAMPING_NODES)]
    grid = np.concatenate([coarse, fine])
    parts = [_gather(list(spots), grid, mm_per_px_s) for spots in zip(*found, strict=True)]
    return _averaged(parts, (1.0 - 2.0 * END_WEIGHT, END_WEIGHT, END_WEIGHT))


@dataclass(frozen=True, kw_only=True, eq=False)
class _Spot:
    """The Gaussian at one frequency and damping under one pair of amplitude priors."""

    ln_f: float
    decay_per_s: float
    log_evidence: float
    parts: tuple[tuple[float, FloatArray, FloatArray], ...]


@dataclass(frozen=True, kw_only=True, eq=False)
class _Flight:
    """Data and model of one flight, yaw's frequency and damping left open."""

    picture: Picture
    data: FloatArray
    weight: FloatArray
    drift: FloatArray
    path: FloatArray
    fast: FloatArray
    mean: FloatArray
    precision: FloatArray
    cases: Cases
    ln_f_mean: float
    ln_f_sigma: float
    damping: tuple[float, float]
    px_s_per_mm: float

    @classmethod
    def of(
        cls,
        track: Track,
        spectrum: Spectrum,
        fast: list[Mode],
        priors: Priors,
        mm_per_px_s: float,
    ) -> _Flight:
        motion = spectrum.motion
        rows = motion.frame.astype(int)
        path = np.array(spectrum.path_parameters)
        s, _ = distance_over_speed(motion.time_s, float(path[1]))
        away = (np.exp(path[0]) + s)[:, None]
        sigma = track.sigma_px[rows]
        off = (motion.swing - motion.fitted) / motion.sigma
        scale2 = spectrum.excess
        outlying = np.minimum(1.0, 9.0 * scale2 / np.maximum((off**2).sum(axis=1), 1e-9))
        jitter = JITTER_MM / mm_per_px_s / away
        variance = (scale2 * sigma**2 + jitter**2) / outlying[:, None]
        tau = priors.singular_time_s
        return cls(
            picture=Picture(
                t_s=motion.time_s,
                oscillations=(Oscillation(slow=True), *(Oscillation(slow=False) for _ in fast)),
            ),
            data=track.xy_px[rows].T.ravel(),
            weight=1.0 / np.sqrt(variance.T.ravel()),
            drift=shared_errors(motion.time_s, np.sqrt(scale2) * sigma),
            path=path,
            fast=np.array([[np.log(m.f_hz), m.decay_per_s] for m in fast]).reshape(-1),
            mean=np.array([np.log(tau.value), priors.drag_per_s.value, priors.roll_rad.value]),
            precision=np.array(
                [tau.sigma**-2, priors.drag_per_s.sigma**-2, priors.roll_rad.sigma**-2]
            ),
            cases=Cases.of(priors, 1.0 / mm_per_px_s),
            ln_f_mean=float(np.log(priors.yaw_hz.value)),
            ln_f_sigma=priors.yaw_hz.sigma,
            damping=(priors.yaw_damping_ratio.value, priors.yaw_damping_ratio.sigma),
            px_s_per_mm=1.0 / mm_per_px_s,
        )

    def without(self, rows: slice) -> _Flight:
        """Leave some places out; the time at which amplitudes are told stays the same."""
        weight = self.weight.reshape(2, -1).copy()
        weight[:, rows] = 0.0
        return replace(self, weight=weight.ravel())

    def at(
        self, ln_f: float, node: tuple[float, float], cut: tuple[_Flight, ...]
    ) -> tuple[_Spot, ...]:
        """Solve for everything else at one frequency and damping.

        Of the whole flight, and of what is left where it is cut, about the path of the whole.
        """
        zeta = max(self.damping[0] + node[0] * self.damping[1], 0.005)
        path, linear = self.path.copy(), None
        for _ in range(ROUNDS):
            theta = np.concatenate([path, [ln_f, zeta], self.fast])
            phi, dphi = self.picture.columns(theta)
            if linear is None:
                linear = self._start(phi)
            moved = (dphi[:PATH_NONLINEAR] @ linear).T
            eased = _Eased.of(self, phi, moved, path)
            about = path
            wanted, linear = eased.most_likely(path)
            path = path + np.clip(wanted - path, -0.3, 0.3)
        whole = [eased, *(_Eased.of(part, phi, moved, about) for part in cut)]
        return tuple(self._spot(ln_f, zeta, node[1], one) for one in whole)

    def _spot(self, ln_f: float, zeta: float, node_weight: float, eased: _Eased) -> _Spot:
        prior = -0.5 * ((ln_f - self.ln_f_mean) / self.ln_f_sigma) ** 2
        parts = eased.mixture()
        top = max(part[0] for part in parts)
        total = top + float(np.log(sum(np.exp(part[0] - top) for part in parts)))
        share = tuple((float(np.exp(part[0] - total)), part[1], part[2]) for part in parts)
        return _Spot(
            ln_f=ln_f,
            decay_per_s=float(2 * np.pi * np.exp(ln_f) * zeta),
            log_evidence=total + prior + float(np.log(node_weight)),
            parts=share,
        )

    def _start(self, phi: FloatArray) -> FloatArray:
        """Take the linear parameters at the fitted path, amplitudes held small."""
        root = np.zeros(phi.shape[1])
        root[PATH_LINEAR:] = 1.0 / (WIDE_MM * self.px_s_per_mm)
        A = np.concatenate([phi * self.weight[:, None], np.diag(root)])
        b = np.concatenate([self.data * self.weight, np.zeros(phi.shape[1])])
        return np.asarray(np.linalg.lstsq(A, b, rcond=None)[0])


@dataclass(frozen=True, kw_only=True, eq=False)
class _Eased:
    """Yaw's amplitudes, tilt and fall, all else projected out, about one linearisation."""

    information: FloatArray
    pull: FloatArray
    rest: float
    log_nuisance: float
    nuisance: FloatArray
    sought: FloatArray
    target: FloatArray
    drifts: int
    cases: Cases

    @classmethod
    def of(cls, flight: _Flight, phi: FloatArray, moved: FloatArray, path: FloatArray) -> _Eased:
        w = flight.weight[:, None]
        wanted = np.arange(PATH_LINEAR, PATH_LINEAR + 4)
        others = np.delete(phi, [G_AT, *wanted], axis=1)
        fast = others.shape[1] - (PATH_LINEAR - 1)
        drifts = flight.drift.shape[1]
        bends = np.delete(np.arange(PATH_NONLINEAR), ROLL)
        k = len(bends) + others.shape[1] + drifts
        root = np.zeros(k)
        root[: len(bends)] = np.sqrt(flight.precision[bends])
        if fast:
            first = len(bends) + PATH_LINEAR - 1
            root[first : first + fast] = 1.0 / (WIDE_MM * flight.px_s_per_mm)
        root[k - drifts :] = 1.0
        expected = np.zeros(k)
        expected[: len(bends)] = (flight.mean - path)[bends]
        nuisances = np.concatenate([moved[:, bends], others, flight.drift], axis=1)
        N = np.concatenate([nuisances * w, np.diag(root)])
        # what is sought is told from nought, the rest of the path from where it was taken
        sought = np.stack([*phi[:, wanted].T, moved[:, ROLL], phi[:, G_AT]], axis=1)
        data = flight.data + moved[:, ROLL] * path[ROLL]
        b = np.concatenate([data * flight.weight, root * expected])
        Y = np.concatenate([sought * w, np.zeros((k, sought.shape[1]))])
        norms = np.linalg.norm(N, axis=0)
        norms[norms == 0] = 1.0
        Q, R = np.linalg.qr(N / norms)
        Yp, bp = Y - Q @ (Q.T @ Y), b - Q @ (Q.T @ b)
        # alpha and B have flat priors; the size of their columns is the same at every frequency
        log_nuisance = float(np.sum(np.log(np.abs(np.diag(R)) * norms)))
        return cls(
            information=Yp.T @ Yp,
            pull=Yp.T @ bp,
            rest=float(bp @ bp),
            log_nuisance=log_nuisance,
            nuisance=N,
            sought=Y,
            target=b,
            drifts=drifts,
            cases=flight.cases,
        )

    def mixture(self) -> list[tuple[float, FloatArray, FloatArray]]:
        """Give log evidence, mean and covariance of what is sought in each case."""
        known = self.cases.sigma**-2.0
        precision = self.information + known[:, :, None] * np.eye(known.shape[1])
        covariance = np.linalg.inv(precision)
        pull = self.pull + known * self.cases.mean
        means = (covariance @ pull[:, :, None])[:, :, 0]
        scaled = precision * self.cases.sigma[:, :, None] * self.cases.sigma[:, None, :]
        _, log_det = np.linalg.slogdet(scaled)
        left = self.rest + (known * self.cases.mean**2).sum(axis=1) - (means * pull).sum(axis=1)
        log_evidence = -0.5 * (left + log_det) - self.log_nuisance + self.cases.log_share
        return list(zip(log_evidence.tolist(), means, covariance, strict=True))

    def most_likely(self, path: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Give the path's parameters and the linear ones in the likeliest case.

        They are told from a path about which the model was linearised.
        """
        _, found, _ = max(self.mixture(), key=lambda part: part[0])
        rest = np.linalg.lstsq(self.nuisance, self.target - self.sought @ found, rcond=None)[0]
        bends = PATH_NONLINEAR - 1
        moved = np.insert(rest[:bends], ROLL, 0.0) + path
        moved[ROLL] = found[4]
        others = rest[bends : len(rest) - self.drifts]
        linear = np.concatenate([others[:G_AT], found[5:], found[:4], others[G_AT:]])
        return moved, np.asarray(linear, dtype=np.float64)


def shared_errors(time_s: FloatArray, sigma_px: FloatArray) -> FloatArray:
    """Give the smooth errors that neighbouring places share.

    What pulls a place (vanes unlike the model, an edge of the scenery, compression) pulls the next
    one alike: such an error passes for slow swing and does not average out over the frames.

    Parameters
    ----------
    time_s
        (n,) of the places.
    sigma_px
        (n, 2) standard error of each, across and up-down.

    Returns
    -------
    numpy.ndarray
        (2 n, 2 k) columns, those of across and then those of up-down; each stands for one standard
        error.
    """
    turn = np.pi * (time_s - time_s[0]) / (time_s[-1] - time_s[0])
    waves = np.cos(turn[:, None] * np.arange(DRIFT_WAVES)) * DRIFT
    nothing = np.zeros_like(waves)
    across = np.concatenate([waves * sigma_px[:, :1], nothing])
    up_down = np.concatenate([nothing, waves * sigma_px[:, 1:]])
    return np.concatenate([across, up_down], axis=1)


def _averaged(parts: list[SlowSwing], weights: tuple[float, ...]) -> SlowSwing:
    """Put several posteriors beside each other."""
    return SlowSwing(
        weight=np.concatenate([w * part.weight for w, part in zip(weights, parts, strict=True)]),
        f_hz=np.concatenate([part.f_hz for part in parts]),
        decay_per_s=np.concatenate([part.decay_per_s for part in parts]),
        mean_mm=np.concatenate([part.mean_mm for part in parts]),
        covariance_mm2=np.concatenate([part.covariance_mm2 for part in parts]),
        tilt_rad=np.concatenate([part.tilt_rad for part in parts]),
        tilt_variance=np.concatenate([part.tilt_variance for part in parts]),
    )


def _gather(spots: list[_Spot], grid: FloatArray, mm_per_px_s: float) -> SlowSwing:
    """Weigh the spots by evidence and by the stretch of ln f that each stands for."""
    points = np.unique(grid)
    edges = np.concatenate([points[:1], (points[1:] + points[:-1]) / 2, points[-1:]])
    width = dict(zip(points.tolist(), np.diff(edges).tolist(), strict=True))
    top = max(spot.log_evidence for spot in spots)
    weight, f, decay, mean, covariance, tilt = [], [], [], [], [], []
    for spot in spots:
        spot_weight = np.exp(spot.log_evidence - top) * width[spot.ln_f]
        for share, amplitude, spread in spot.parts:
            if spot_weight * share < 1e-5:
                continue
            weight.append(spot_weight * share)
            f.append(np.exp(spot.ln_f))
            decay.append(spot.decay_per_s)
            mean.append(amplitude[:4].reshape(2, 2) * mm_per_px_s)
            blocks = np.stack([spread[:2, :2], spread[2:4, 2:4]])
            covariance.append(blocks * mm_per_px_s**2)
            tilt.append((amplitude[4], spread[4, 4]))
    total = np.array(weight)
    return SlowSwing(
        weight=total / total.sum(),
        f_hz=np.array(f),
        decay_per_s=np.array(decay),
        mean_mm=np.array(mean),
        covariance_mm2=np.array(covariance),
        tilt_rad=np.array(tilt)[:, 0],
        tilt_variance=np.array(tilt)[:, 1],
    )
