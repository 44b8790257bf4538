"""One flight under one model: its least-squares problem, its solution, the weight of its rows.

A track's rows, priors and a list of oscillations go in; a solution comes out. Which oscillations
there should be is decided in `classify.spectral`.

References
----------
.. [1] P. J. Huber, "Robust estimation of a location parameter", Annals of Mathematical Statistics
   35 (1964) 73-101.
.. [2] R. D. Cook, "Detection of influential observation in linear regression", Technometrics 19
   (1977) 15-18; from memory.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from classify.motion import PATH_LINEAR, Oscillation, Picture
from classify.separable import Problem, Solution, solve
from classify.types import Estimate, Priors
from tracker.types import FloatArray, IntArray, Track

FAST_FROM_HZ = 5.0
"""Below this there is only yaw; chosen here under the quickest yaw that fletching makes."""

FAST_DECAY = Estimate(value=6.0, sigma=8.0)
"""Decay of everything but yaw before it is seen, 1/s; chosen here, wide."""

YAW_REACH = 2.5
"""How many prior sigmas away yaw is looked for."""

BAD_AT_SIGMA = 3.0
"""Rows further out than this lose weight."""

PINHOLE_SIGMA_PX = 0.03
"""What a lens that is no pinhole and a shutter that rolls leave over; chosen here."""

SLOW_NOISE_HZ = (6.0, 12.0, 25.0)
"""Upper ends of the bands in which neighbouring rows may err alike. On rendered films the places'
errors are several times stronger below 25 Hz than above, more so the slower; chosen there."""

INDEPENDENT_WAVES = 5.0
"""A band counts as if it held so many waves more, of rows that err apart as claimed: a short flight
has few waves to spare, and a few say little; tuned on simulated and rendered flights."""

FEW_LEAST, FEW_SHARE, FEW_LEAVE = 4, 0.1, 0.4
"""Places that may be drawn astray together, at least and as a share of all, and what must be left
of a mode's swing without them. Of 25 filmed flights with a fast swing 24 kept 0.79 of it or more;
the other one was made by four places off by 2 to 3 pixels, was called minnowing with 0.91, and kept
0.36 (2026-11-29)."""

G_AT = 4
"""Place of the fall among the linear parameters."""


@dataclass(frozen=True, kw_only=True, eq=False)
class JointFit:
    """A flight, a model and, once `refit`, its solution.

    Attributes
    ----------
    t
        (n,) since the first followed frame, s.
    xy, sigma
        (n, 2) the nock in the picture, px, y down, and its claimed standard error.
    step_s
        Median time between frames.
    priors
        What is expected.
    oscillations
        What swings.
    swing_px_s
        A usual swing, standard deviation of each component.
    weight
        (2 n,) one over the standard error that is believed, rows of x first.
    later_s
        From the first row in which the nock was seen to the first one used.
    settled
        Whether all that swings is in the model, so that what is left of the slow waves is error.
    solution
        None before `refit`.
    """

    t: FloatArray
    xy: FloatArray
    sigma: FloatArray
    step_s: float
    priors: Priors
    oscillations: tuple[Oscillation, ...]
    swing_px_s: float
    weight: FloatArray
    later_s: float = 0.0
    settled: bool = False
    solution: Solution | None = None

    @classmethod
    def of(cls, track: Track, rows: IntArray, priors: Priors) -> JointFit:
        """Take the rows of a track, with no oscillation yet.

        Parameters
        ----------
        track
            The nock's path.
        rows
            (n,) numbers of the frames to use, in all of which the nock was seen.
        priors
            What is expected.

        Returns
        -------
        JointFit
            Without a solution.
        """
        known = priors.fall_px_s.value if priors.fall_px_s else 1.0
        flown = track.time_s[track.first_frame : track.last_frame + 1]
        bare = cls(
            t=np.zeros(0),
            xy=np.zeros((0, 2)),
            sigma=np.zeros((0, 2)),
            step_s=float(np.median(np.diff(flown))),
            priors=priors,
            oscillations=(),
            swing_px_s=priors.swing_m * known,
            weight=np.zeros(0),
        )
        return bare.on_rows(track, rows)

    def on_rows(self, track: Track, rows: IntArray) -> JointFit:
        """Take other rows of the track under the same model.

        Parameters
        ----------
        track
            The nock's path.
        rows
            (n,) numbers of the frames to use.

        Returns
        -------
        JointFit
            To be refitted; the prior on the singular time moved to the new first row.
        """
        seen = np.flatnonzero(track.seen)
        later = float(track.time_s[rows[0]] - track.time_s[seen[0]])
        sigma = np.hypot(track.sigma_px[rows], PINHOLE_SIGMA_PX)
        return replace(
            self,
            t=track.time_s[rows] - track.time_s[rows[0]],
            xy=track.xy_px[rows],
            sigma=sigma,
            later_s=later,
            weight=1 / sigma.T.ravel(),
            solution=None,
        )

    def expect_swing(self, fall_px_s: float) -> JointFit:
        """Expect the usual swing in px·s for a given focal length over speed.

        Parameters
        ----------
        fall_px_s
            Focal length over speed, px·s per metre.

        Returns
        -------
        JointFit
            To be refitted.
        """
        return replace(self, swing_px_s=self.priors.swing_m * fall_px_s)

    @property
    def sol(self) -> Solution:
        """The solution, where there is one."""
        if self.solution is None:
            raise RuntimeError("not fitted yet")
        return self.solution

    @property
    def claimed(self) -> FloatArray:
        """(2 n,) claimed standard error, rows of x first."""
        return self.sigma.T.ravel()

    @property
    def span_s(self) -> float:
        """Time from the first row to the last."""
        return float(self.t[-1])

    @property
    def nyquist_hz(self) -> float:
        """Half the frame rate."""
        return 0.5 / self.step_s

    @property
    def picture(self) -> Picture:
        """The columns at the times of the rows."""
        return Picture(t_s=self.t, oscillations=self.oscillations)

    def yaw_band(self) -> tuple[float, float]:
        """Give where yaw is looked for, Hz."""
        f = self.priors.yaw_hz
        reach = float(np.exp(YAW_REACH * f.sigma))
        return f.value / reach, f.value * reach

    def problem(self) -> Problem:
        """State the least-squares problem with its priors."""
        p = self.priors
        tau, kappa, roll = p.singular_time_s, p.drag_per_s, p.roll_rad
        rows = [
            (np.log(tau.value + self.later_s), tau.sigma, np.log(1e-3), np.log(30.0)),
            # An arrow that gained speed without end would have no logarithm of its way.
            (kappa.value, kappa.sigma, -0.5 / max(self.span_s, 1.0), 2.0),
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
            linear_precision[G_AT] = p.fall_px_s.sigma**-2
            linear_mean[G_AT] = p.fall_px_s.value
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

    def refit(self, *starts: FloatArray) -> JointFit:
        """Solve from every start and keep the lowest.

        Parameters
        ----------
        starts
            (q,) nonlinear parameters each.

        Returns
        -------
        JointFit
            With a solution.
        """
        problem = self.problem()
        best = min((solve(problem, start) for start in starts), key=lambda s: s.cost)
        return replace(self, solution=best)

    def reweigh(self) -> JointFit:
        """Take weight from rows far out [1] and match the claimed sigma to the residual.

        Returns
        -------
        JointFit
            With a solution under the new weights.
        """
        fit = self
        for _ in range(3):
            n, freedom = len(fit.t), fit.freedom()
            raw = fit.sol.residual / fit.weight / fit.claimed
            d2 = raw[:n] ** 2 + raw[n:] ** 2
            # The median of chi-square with 2 degrees of freedom is 2 ln 2.
            spread = max(1.0, float(np.median(d2)) / (2 * np.log(2)) * 2 * n / freedom)
            share = np.minimum(1.0, BAD_AT_SIGMA**2 / np.maximum(d2 / spread, 1e-12))
            weight = np.tile(np.sqrt(share / fit.excess(share)), 2) / fit.claimed
            change = np.abs(weight / fit.weight - 1).max()
            fit = replace(fit, weight=weight).refit(fit.sol.nonlinear)
            if change < 0.02:
                break
        return fit

    def excess(self, share: FloatArray) -> float:
        """Give the variance to believe of the rows over the claimed one.

        Once the model is settled, the residual's slow waves count as well as its whole: yaw and the
        path hang on them alone, and where neighbouring rows err alike they hold more noise than
        the scatter from row to row tells.

        Parameters
        ----------
        share
            (n,) weight of the rows between 0 and 1.

        Returns
        -------
        float
            At least 1.
        """
        raw = self.sol.residual / self.weight / self.claimed
        whole = float(np.sum(np.tile(share, 2) * raw**2)) / self.freedom(share)
        return max(1.0, whole, self.slow_noise(share) if self.settled else 0.0)

    def slow_noise(self, share: FloatArray) -> float:
        """Give the variance of the residual's slow waves over the claimed one.

        Parameters
        ----------
        share
            (n,) weight of the rows between 0 and 1.

        Returns
        -------
        float
            Of the noisiest band of `SLOW_NOISE_HZ`; each wave counts as far as the parameters leave
            it free.
        """
        n, root = len(self.t), np.sqrt(share)
        # Waves of k half periods in the flight: k / (2 span) Hz.
        count = min(int(2 * self.span_s * SLOW_NOISE_HZ[-1]) + 1, n)
        turn = np.pi * self.t / max(self.span_s, self.step_s)
        Q, _ = np.linalg.qr(np.cos(turn[:, None] * np.arange(count)) * root[:, None])
        raw = self.sol.residual / self.weight / self.claimed * np.tile(root, 2)
        J, C = self.sol.jacobian, self.sol.covariance()
        power, free = np.zeros(count), np.zeros(count)
        for rows in (slice(0, n), slice(n, 2 * n)):
            power += (Q.T @ raw[rows]) ** 2
            taken = Q.T @ J[rows]
            free += 1.0 - np.sum((taken @ C) * taken, axis=1)
        # Rows that err apart as claimed have power 1 for each free wave.
        power = np.cumsum(power) + INDEPENDENT_WAVES
        free = np.cumsum(np.maximum(free, 0.0)) + INDEPENDENT_WAVES
        ends = [min(int(2 * self.span_s * hz), count - 1) for hz in SLOW_NOISE_HZ]
        return float((power[ends] / free[ends]).max())

    def made_by_few(self, number: int, stands_out: float) -> bool:
        """Tell whether an oscillation is nearly gone without one short stretch of the places.

        Something bright beside the path draws a few places after itself, all to one side, and an
        oscillation that bends to them takes them for its own: no weight for outliers tells. A true
        one is as wide by the others alone. Linear about the solution, as influence is in regression
        [2].

        Parameters
        ----------
        number
            Of the oscillation.
        stands_out
            Chi-square of its four amplitudes from which the other places show it by themselves, be
            it another one: that is a swing that changes.

        Returns
        -------
        bool
        """
        sol, n = self.sol, len(self.t)
        first = PATH_LINEAR + 4 * number
        whole = sol.linear[first : first + 4]
        own = slice(len(sol.nonlinear) + first, len(sol.nonlinear) + first + 4)
        C, J = sol.covariance(), sol.jacobian[: 2 * n]
        few = max(FEW_LEAST, round(FEW_SHARE * n))
        for start in range(0, n - few + 1, few // 2):
            rows = np.r_[start : start + few, n + start : n + start + few]
            drawn = C[own] @ J[rows].T
            pull = np.linalg.inv(np.eye(len(rows)) - J[rows] @ C @ J[rows].T)
            alone = whole - drawn @ pull @ sol.residual[rows]
            shown = alone @ np.linalg.solve(C[own, own] + drawn @ pull @ drawn.T, alone)
            if shown < stands_out and np.linalg.norm(alone) < FEW_LEAVE * np.linalg.norm(whole):
                return True
        return False

    def freedom(self, share: FloatArray | None = None) -> float:
        """Count rows less the parameters that the data, not the priors, decide.

        Parameters
        ----------
        share
            (n,) weight of the rows between 0 and 1; all 1 if None.

        Returns
        -------
        float
            At least 1.
        """
        J = self.sol.jacobian[: 2 * len(self.t)]
        used = float(np.sum((J @ self.sol.covariance()) * J))
        rows = 2 * len(self.t) if share is None else 2 * float(share.sum())
        return max(rows - used, 1.0)
