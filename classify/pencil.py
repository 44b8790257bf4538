"""Frequencies and decays of a uniform series by the matrix pencil, as starts for the joint fit.

Uniform samples of one or more channels go in, the poles of the decaying oscillations that they
share come out. There is no trend in it and no weight: it knows where to look, not how sure to be.

References
----------
.. [1] Y. Hua, T. K. Sarkar, "Matrix pencil method for estimating parameters of exponentially
   damped/undamped sinusoids in noise", IEEE Trans. ASSP 38 (1990) 814-824.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from tracker.types import FloatArray

ComplexArray = npt.NDArray[np.complex128]


def matrix_pencil(series: FloatArray, poles: int, *, pencil: int | None = None) -> ComplexArray:
    """Find the poles z of ``y[n] = sum_k a_k z_k**n``.

    Parameters
    ----------
    series
        (n,) or (n, c) uniform samples; channels share the poles.
    poles
        How many: two for every real oscillation.
    pencil
        The pencil parameter L, between `poles` and n - `poles`; n/3 where None, which [1] finds
        nearest to the bound.

    Returns
    -------
    numpy.ndarray
        (poles,) complex, largest modulus first.

    Raises
    ------
    ValueError
        If the series is too short for so many poles.

    Examples
    --------
    Fibonacci numbers are the sum of two powers:

    >>> fibonacci = np.array([0.0, 1, 1, 2, 3, 5, 8, 13, 21, 34, 55])
    >>> np.round(matrix_pencil(fibonacci, 2).real, 10).tolist()
    [1.6180339887, -0.6180339887]
    """
    channels = series[:, None] if series.ndim == 1 else series
    n = len(channels)
    L = max(poles, round(n / 3)) if pencil is None else pencil
    if not poles <= L <= n - poles:
        raise ValueError(f"{n} samples and a pencil of {L} hold no {poles} poles")
    # Rows are windows of L + 1 samples [1, eq. 13]; windows of all channels share the row space.
    windows = np.concatenate(
        [np.lib.stride_tricks.sliding_window_view(channel, L + 1) for channel in channels.T]
    )
    _, _, vt = np.linalg.svd(np.linalg.qr(windows, mode="r"), full_matrices=False)
    signal = vt[:poles].T
    z = np.linalg.eigvals(np.linalg.pinv(signal[:-1]) @ signal[1:]).astype(np.complex128)
    return z[np.argsort(-np.abs(z))]


def tones_of(z: ComplexArray, step_s: float) -> list[tuple[float, float]]:
    """Turn poles into oscillations.

    Parameters
    ----------
    z
        (k,) poles; of a conjugate pair only the upper one counts, real poles are no oscillation.
    step_s
        Time between samples.

    Returns
    -------
    list of (float, float)
        Frequency in hertz and decay per second.

    Examples
    --------
    >>> step = 1 / 240
    >>> pole = np.exp((-5 + 2j * np.pi * 30) * step)
    >>> [(round(f, 6), round(decay, 6)) for f, decay in tones_of(np.array([pole]), step)]
    [(30.0, 5.0)]
    """
    upper = z[(z.imag > 1e-9) & (np.abs(z) > 0)]
    return [
        (float(np.angle(p) / (2 * np.pi * step_s)), float(-np.log(np.abs(p)) / step_s))
        for p in upper
    ]


def longest_uniform_run(t_s: FloatArray, step_s: float) -> slice:
    """Give the longest stretch of rows without a gap.

    Parameters
    ----------
    t_s
        (n,) rising times.
    step_s
        The usual step.

    Returns
    -------
    slice
        Of rows whose steps are all within a quarter of the usual one.

    Examples
    --------
    >>> longest_uniform_run(np.array([0.0, 1.0, 3.0, 4.0, 5.0]), 1.0)
    slice(2, 5, None)
    """
    even = np.abs(np.diff(t_s) - step_s) < 0.25 * step_s
    breaks = np.concatenate([[0], np.flatnonzero(~even) + 1, [len(t_s)]])
    at = int(np.argmax(np.diff(breaks)))
    return slice(int(breaks[at]), int(breaks[at + 1]))
