"""How strongly the swing repeats at each frequency, for the eye: swing in, curve out.

It decides nothing: the modes of a reading come from the joint fit, which also sees the flight path,
the perspective and the decay. This curve shows what the eye could have seen.
"""

from __future__ import annotations

import numpy as np

from classify.types import Motion
from tracker.types import FloatArray


def swing_periodogram(motion: Motion, f_hz: FloatArray) -> FloatArray:
    """Fit a steady swing of each frequency to the measured one, by weighted least squares.

    Parameters
    ----------
    motion
        The swing about the flight path, n samples, spaced as they fell.
    f_hz
        (m,) frequencies above 0.

    Returns
    -------
    numpy.ndarray
        (m, 2) amplitude, zero to peak, across and up-down, in the unit of `Motion.swing`; NaN
        where there are too few samples to fit one.

    Notes
    -----
    The floating-mean periodogram of [1]_: ``a cos(2 pi f t) + b sin(2 pi f t) + c`` at each f, so
    that gaps and uneven frames need no filling.

    References
    ----------
    .. [1] Zechmeister, M. & Kürster, M., "The generalised Lomb-Scargle periodogram", Astronomy &
       Astrophysics 496 (2009) 577-584, doi 10.1051/0004-6361:200811296.

    Examples
    --------
    >>> import numpy as np
    >>> t = np.arange(48) / 240
    >>> swing = np.column_stack((2 * np.cos(2 * np.pi * 20 * t), 0 * t))
    >>> motion = Motion(time_s=t, swing=swing, sigma=np.ones((48, 2)), fitted=swing,
    ...                 path_px=swing, frame=np.arange(48.0))
    >>> swing_periodogram(motion, np.array([20.0])).round(6).tolist()
    [[2.0, 0.0]]
    """
    amplitude = np.full((len(f_hz), 2), np.nan)
    if len(motion.time_s) < 4:
        return amplitude
    for axis in (0, 1):
        weight = 1.0 / motion.sigma[:, axis]
        values = motion.swing[:, axis] * weight
        for index, f in enumerate(f_hz):
            turn = 2 * np.pi * f * motion.time_s
            design = np.column_stack((np.cos(turn), np.sin(turn), np.ones_like(turn)))
            (a, b, _), *_ = np.linalg.lstsq(design * weight[:, None], values, rcond=None)
            amplitude[index, axis] = np.hypot(a, b)
    return amplitude
