"""Which further oscillation would a fit gain most from, and how wide a one could it have missed.

In goes a fitted picture model, out come gains in weighted squares, frequency by frequency, with
every parameter of the model refitted along: a least-squares spectrum. It names no motion.

References
----------
.. [1] N. R. Lomb, "Least-squares frequency analysis of unequally spaced data", Astrophysics and
   Space Science 39 (1976) 447-462.
.. [2] M. Zechmeister, M. Kuerster, "The generalised Lomb-Scargle periodogram", Astronomy and
   Astrophysics 496 (2009) 577-584: trend columns fitted along with each frequency.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from classify.chances import chi2_exceeded, rice_limit
from classify.motion import distance_over_speed
from classify.separable import Solution
from tracker.types import FloatArray


@dataclass(frozen=True, kw_only=True, eq=False)
class Scan:
    """Gains over a grid of frequencies and decays.

    Attributes
    ----------
    f_hz
        (k,) frequencies.
    decay_per_s
        (d,) decays.
    gain
        (d, k) by how much the weighted sum of squares falls.
    amplitude, sigma
        (d, k, 2) amplitude of the added oscillation across and up-down, and the standard error of
        one of its two components, px·s.
    """

    f_hz: FloatArray
    decay_per_s: FloatArray
    gain: FloatArray
    amplitude: FloatArray
    sigma: FloatArray

    def peaks(self, count: int) -> list[tuple[float, float, float]]:
        """Give the largest local maxima over frequency as (gain, f_hz, decay_per_s)."""
        best = self.gain.max(axis=0)
        padded = np.concatenate([[-np.inf], best, [-np.inf]])
        tops = np.flatnonzero((best >= padded[:-2]) & (best >= padded[2:]))
        tops = tops[np.argsort(best[tops])[::-1][:count]]
        which = self.gain.argmax(axis=0)
        return [
            (float(best[i]), float(self.f_hz[i]), float(self.decay_per_s[which[i]])) for i in tops
        ]

    def could_hide(
        self, low_hz: float, high_hz: float, taken_hz: FloatArray, apart_hz: float
    ) -> FloatArray:
        """Give the 95 % upper limit of an oscillation in a band, across and up-down.

        Parameters
        ----------
        low_hz, high_hz
            The band.
        taken_hz
            Frequencies of the modes already in the model.
        apart_hz
            Nearer to one of them than this, two oscillations cannot be told apart.

        Returns
        -------
        numpy.ndarray
            (2,) in px·s; infinite where no frequency of the band was tried.
        """
        inside = (self.f_hz >= low_hz) & (self.f_hz <= high_hz)
        inside &= (np.abs(self.f_hz[:, None] - taken_hz) > apart_hz).all(axis=1)
        if not inside.any():
            return np.full(2, np.inf)
        amplitude, sigma = self.amplitude[:, inside], self.sigma[:, inside]
        return np.asarray(amplitude_limit(amplitude, sigma).max(axis=(0, 1)))


def amplitude_limit(amplitude: FloatArray, sigma: FloatArray) -> FloatArray:
    """Give the amplitude that is exceeded with 5 % probability.

    Parameters
    ----------
    amplitude, sigma
        Measured amplitude and the standard error of each of its two components, of one shape.

    Returns
    -------
    numpy.ndarray
        Of the same shape. With a flat prior on the two components the amplitude is Rice-distributed
        (S. O. Rice, Bell Syst. Tech. J. 24 (1945) 46-156).

    Examples
    --------
    >>> round(float(amplitude_limit(np.array(0.0), np.array(1.0))), 3)
    2.448
    """
    sigma = np.maximum(sigma, 1e-300)
    ratio = amplitude / sigma
    near = rice_limit(0.95, np.minimum(ratio, 30.0)) * sigma
    return np.asarray(np.where(ratio < 30.0, near, amplitude + 1.645 * sigma))


def scan(
    solution: Solution,
    t_s: FloatArray,
    weight: FloatArray,
    f_hz: FloatArray,
    decay_per_s: FloatArray,
    linear_precision: float,
) -> Scan:
    """Try one more oscillation at every frequency and decay of a grid.

    Parameters
    ----------
    solution
        The fitted model without it.
    t_s
        (n,) times.
    weight
        (2 n,) one over the standard error, rows of x first.
    f_hz, decay_per_s
        (k,), (d,) the grid.
    linear_precision
        One over the prior variance of each component of the new amplitude.

    Returns
    -------
    Scan
        Gains and amplitudes.
    """
    n = len(t_s)
    tau, kappa = float(np.exp(solution.nonlinear[0])), float(solution.nonlinear[1])
    w = 1 / (tau + distance_over_speed(t_s, kappa)[0])
    norms = np.linalg.norm(solution.jacobian, axis=0)
    Q, _ = np.linalg.qr(solution.jacobian / np.where(norms > 0, norms, 1.0))
    turn = np.exp(2j * np.pi * np.outer(t_s, f_hz))
    gains, amplitudes, sigmas = [], [], []
    for decay in decay_per_s:
        wave = turn * (np.exp(-decay * t_s) * w)[:, None]
        gram = np.zeros((len(f_hz), 4, 4))
        along = np.zeros((len(f_hz), Q.shape[1], 4))
        g = np.zeros((len(f_hz), 4))
        for axis, sign in ((0, 1.0), (1, -1.0)):
            rows = slice(axis * n, (axis + 1) * n)
            place = slice(2 * axis, 2 * axis + 2)
            weighted = sign * wave * weight[rows, None]
            gram[:, place, place] = _pair_products(weighted)
            onto = np.concatenate([Q[rows], solution.residual[rows, None]], axis=1).T @ weighted
            # Columns are the real part and minus the imaginary part.
            along[:, :, place] = np.stack([onto[:-1].real.T, -onto[:-1].imag.T], axis=2)
            g[:, place] = np.stack([onto[-1].real, -onto[-1].imag], axis=1)
        gram -= along.transpose(0, 2, 1) @ along
        gram += linear_precision * np.eye(4)
        inverse = np.linalg.inv(gram)
        c = (inverse @ g[:, :, None])[:, :, 0]
        gains.append((c * g).sum(axis=1))
        amplitudes.append(np.stack([np.hypot(c[:, 0], c[:, 1]), np.hypot(c[:, 2], c[:, 3])], 1))
        variance = np.diagonal(inverse, axis1=1, axis2=2)
        sigmas.append(np.sqrt((variance[:, 0::2] + variance[:, 1::2]) / 2))
    return Scan(
        f_hz=f_hz,
        decay_per_s=decay_per_s,
        gain=np.array(gains),
        amplitude=np.array(amplitudes),
        sigma=np.array(sigmas),
    )


def _pair_products(wave: npt.NDArray[np.complex128]) -> FloatArray:
    """Products of cosine and minus sine columns with each other, (k, 2, 2), from (n, k) waves."""
    power = (wave.real**2 + wave.imag**2).sum(axis=0)
    double = (wave**2).sum(axis=0)
    cc, ss, cs = (power + double.real) / 2, (power - double.real) / 2, -double.imag / 2
    return np.stack([np.stack([cc, cs], axis=1), np.stack([cs, ss], axis=1)], axis=1)


def false_alarm_gain(f_hz: FloatArray, duration_s: float, probability: float) -> float:
    """Give the gain that noise alone exceeds anywhere in the band with a given probability.

    Parameters
    ----------
    f_hz
        (k,) frequencies that were tried.
    duration_s
        Length of the record.
    probability
        Of a false alarm.

    Returns
    -------
    float
        For four linear parameters per frequency. A band holds about two independent frequencies
        per 1/duration.
    """
    independent = max(1.0, 2 * duration_s * float(np.ptp(f_hz)))
    return chi2_exceeded(float(-np.expm1(np.log1p(-probability) / independent)), 4)
