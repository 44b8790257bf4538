"""What is known of the slow swing: a weighted set of Gaussians, and what it says.

The sets that `classify.slow_swing` finds go in; chances, sizes and limits in millimetres come out.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from tracker.types import FloatArray


@dataclass(frozen=True, kw_only=True, eq=False)
class SlowSwing:
    """The posterior of rigid yaw and pitch, as a weighted set of Gaussians.

    Attributes
    ----------
    weight
        (m,) adds up to 1.
    f_hz, decay_per_s
        (m,) of each.
    mean_mm
        (m, 2, 2) cosine and sine component (last) of the swing across and up-down (middle) at the
        first followed frame.
    covariance_mm2
        (m, 2, 2, 2) of the two components, for each axis.
    tilt_rad, tilt_variance
        (m,) of the phone about its axis, or a push to the right in units of gravity.
    """

    weight: FloatArray
    f_hz: FloatArray
    decay_per_s: FloatArray
    mean_mm: FloatArray
    covariance_mm2: FloatArray
    tilt_rad: FloatArray
    tilt_variance: FloatArray

    def chance_above(self, axis: int, threshold_mm: float) -> float:
        """Probability that the swing along an axis exceeds a threshold.

        Parameters
        ----------
        axis
            0 across, 1 up-down.
        threshold_mm
            Zero to peak.

        Returns
        -------
        float
        """
        swing = self._drawn(axis)
        return float(np.sum(self.weight * (swing > threshold_mm).mean(axis=1)))

    def swing_mm(self, axis: int) -> tuple[float, float]:
        """Mean and standard deviation of the zero to peak swing along an axis.

        Parameters
        ----------
        axis
            0 across, 1 up-down.

        Returns
        -------
        mean, sigma : float
        """
        swing = self._drawn(axis)
        mean = float(self.weight @ swing.mean(axis=1))
        square = float(self.weight @ (swing**2).mean(axis=1))
        return mean, float(np.sqrt(max(square - mean**2, 0.0)))

    def upper_mm(self, axis: int, probability: float = 0.95) -> float:
        """Swing that is not exceeded with a given probability.

        Parameters
        ----------
        axis
            0 across, 1 up-down.
        probability
            Between 0 and 1.

        Returns
        -------
        float
        """
        swing = self._drawn(axis)
        weight = np.repeat(self.weight / swing.shape[1], swing.shape[1])
        order = np.argsort(swing, axis=None)
        at = np.searchsorted(np.cumsum(weight[order]), probability)
        return float(swing.ravel()[order[min(int(at), len(order) - 1)]])

    def frequency_hz(self) -> tuple[float, float]:
        """Mean and standard deviation of the frequency.

        Returns
        -------
        mean, sigma : float
        """
        mean = float(self.weight @ self.f_hz)
        return mean, float(np.sqrt(self.weight @ (self.f_hz - mean) ** 2))

    def decay(self) -> tuple[float, float]:
        """Mean and standard deviation of the decay rate, per second.

        Returns
        -------
        mean, sigma : float
        """
        mean = float(self.weight @ self.decay_per_s)
        return mean, float(np.sqrt(self.weight @ (self.decay_per_s - mean) ** 2))

    def tilt(self) -> tuple[float, float]:
        """Mean and standard deviation of the phone's tilt, radians, or of a push to the right.

        Returns
        -------
        mean, sigma : float
        """
        mean = float(self.weight @ self.tilt_rad)
        spread = self.tilt_variance + (self.tilt_rad - mean) ** 2
        return mean, float(np.sqrt(self.weight @ spread))

    def _drawn(self, axis: int) -> FloatArray:
        """(m, k) swings at fixed, evenly spread points of each Gaussian."""
        return np.asarray(self._both_drawn[axis])

    @cached_property
    def _both_drawn(self) -> FloatArray:
        """(2, m, k) of both axes: they are asked for again and again."""
        root = np.linalg.cholesky(self.covariance_mm2 + 1e-12 * np.eye(2))
        components = self.mean_mm[:, :, None, :] + _spread_points(256) @ root.swapaxes(-1, -2)
        return np.asarray(np.hypot(components[..., 0], components[..., 1]).swapaxes(0, 1))


def _spread_points(count: int) -> FloatArray:
    """(count, 2) points of a standard normal law in the plane, evenly spread along a spiral."""
    i = np.arange(count) + 0.5
    radius = np.sqrt(-2.0 * np.log1p(-i / count))
    angle = i * np.pi * (3.0 - np.sqrt(5.0))
    return np.stack([radius * np.cos(angle), radius * np.sin(angle)], axis=1)
