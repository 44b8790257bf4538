"""What is expected of a slow swing before the flight is looked at, in every case that there may be.

A swing may be small or wide, the phone held straight or askew, the lens the one that was typed or
another; each is met so often. `classify.slow_swing` weighs them by the flight.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np

from classify.types import Estimate, Priors
from tracker.types import FloatArray

SMALL_MM, WIDE_MM = 1.5, 12.0
"""Standard deviation of each component of a clean arrow's swing and of a swinging one. The first is
chosen here. With the second one arrow in six that swings does so by more than 3 degrees, up to
which incidence was published (Appl. Sci. 2025, 15(4), 2168). It had been 8: of 110 rendered films
the swing was then told 12 % too small by mean and lay within one error in 49 of 100 cases; with 12
it is 3 % and 74 of 100 (2026-11-30).
"""
WIDE_SHARE = 0.35
"""How often an axis swings wide before the clip is looked at; chosen here."""
SLANTED, SLANTED_SHARE = 4.0, 0.15
"""How many times the usual one (2 degrees) a tilt of the phone may be, or a push from the side, and
how often it is met; chosen here. A path that is bent sideways looks like half a wave of slow yaw:
with the usual tilt alone 9 of 20 clean arrows, filmed with the phone 7.6 degrees askew, were called
fishtailing with more than 0.8 (2026-11-29)."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Cases:
    """What is expected of yaw's amplitudes, tilt and fall, in each of several cases.

    Attributes
    ----------
    log_share
        (c,) how often each is met, as logarithm.
    mean, sigma
        (c, 6) of the swing across and up-down, two components each and small or wide, of a tilt
        that is usual or out of the common, and of every fall that the lens may mean.
    """

    log_share: FloatArray
    mean: FloatArray
    sigma: FloatArray

    @classmethod
    def of(cls, priors: Priors, px_s_per_mm: float) -> Cases:
        """List the cases.

        Parameters
        ----------
        priors
            What is expected of the flight.
        px_s_per_mm
            Scale: pixel seconds per millimetre.

        Returns
        -------
        Cases
        """
        roll, fall = priors.roll_rad, priors.fall_px_s
        swings = (1.0 - WIDE_SHARE, SMALL_MM * px_s_per_mm), (WIDE_SHARE, WIDE_MM * px_s_per_mm)
        tilts = (1.0 - SLANTED_SHARE, roll.sigma), (SLANTED_SHARE, SLANTED * roll.sigma)
        # the fall that nothing tells is that of the scale, within a factor of some
        free = Estimate(value=0.0, sigma=3e3 * px_s_per_mm)
        falls = priors.fall_cases or ((1.0, fall or free),)
        rows = [
            (a * u * t * f, roll.value, g.value, across, up_down, tilt, g.sigma)
            for (a, across), (u, up_down), (t, tilt), (f, g) in product(
                swings, swings, tilts, falls
            )
        ]
        share, level, at, across, up_down, tilt, g = np.array(rows).T
        nought = np.zeros_like(share)
        return cls(
            log_share=np.log(share),
            mean=np.stack([nought, nought, nought, nought, level, at], axis=1),
            sigma=np.stack([across, across, up_down, up_down, tilt, g], axis=1),
        )
