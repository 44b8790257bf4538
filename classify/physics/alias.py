"""A true frequency and a frame rate go in, the frequency seen comes out; and the way back.

A camera that takes `fs` frames a second shows f, fs - f, fs + f, 2 fs - f ... as one and the same
frequency between 0 and fs/2 (Shannon's sampling theorem).
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from classify.physics.inputs import need_not_negative, need_positive
from tracker.types import FloatArray


def folded_hz(true_hz: npt.ArrayLike, frame_hz: float) -> FloatArray:
    """Frequency at which an oscillation appears.

    Parameters
    ----------
    true_hz
        True frequency or frequencies.
    frame_hz
        Frames a second.

    Returns
    -------
    numpy.ndarray
        Same shape, 0 to half the frame rate.

    Raises
    ------
    InputError
        If the frame rate is not positive and finite.

    Examples
    --------
    >>> folded_hz([70.0, 85.0, 215.0], 120.0)
    array([50., 35., 25.])
    """
    fs = need_positive("frame_hz", frame_hz)
    f = np.asarray(true_hz, dtype=np.float64)
    return np.asarray(np.abs(f - fs * np.round(f / fs)), dtype=np.float64)


def folded_band(low_hz: float, high_hz: float, frame_hz: float) -> tuple[float, float]:
    """Lowest and highest frequency at which a band of true frequencies can appear.

    Parameters
    ----------
    low_hz, high_hz
        True band.
    frame_hz
        Frames a second.

    Returns
    -------
    tuple of float
        Lowest and highest, Hz.

    Raises
    ------
    InputError
        If a number cannot be used.

    Examples
    --------
    >>> folded_band(65.0, 95.0, 120.0)
    (25.0, 55.0)
    """
    low, high = sorted((need_not_negative("low_hz", low_hz), need_not_negative("high_hz", high_hz)))
    fs = need_positive("frame_hz", frame_hz)
    ends = folded_hz([low, high], fs)
    # the band turns back at every multiple of half the frame rate that it holds
    turns = np.arange(np.ceil(2 * low / fs), min(np.floor(2 * high / fs), 2 * low / fs + 4) + 1)
    seen = np.concatenate([ends, folded_hz(turns * fs / 2, fs)])
    return float(seen.min()), float(seen.max())


def possible_true_hz(seen_hz: float, frame_hz: float, highest_hz: float) -> FloatArray:
    """Every true frequency that would look like the one seen.

    Parameters
    ----------
    seen_hz
        0 to half the frame rate.
    frame_hz
        Frames a second.
    highest_hz
        Where to stop; at most 1000 times the frame rate.

    Returns
    -------
    numpy.ndarray
        Rising, the seen frequency first.

    Raises
    ------
    InputError
        If a number cannot be used.

    Examples
    --------
    >>> possible_true_hz(25.0, 120.0, 250.0)
    array([ 25.,  95., 145., 215.])
    """
    fs = need_positive("frame_hz", frame_hz)
    f = float(folded_hz(need_not_negative("seen_hz", seen_hz), fs))
    k = np.arange(0, min(need_not_negative("highest_hz", highest_hz) / fs, 1000.0) + 2)
    every = np.unique(np.concatenate([k * fs + f, k * fs - f]))
    return np.asarray(every[(every >= f) & (every <= highest_hz)], dtype=np.float64)
