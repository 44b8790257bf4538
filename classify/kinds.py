"""Which of the four motions a mode is.

Frequency, circularity and expectation go in, probabilities come out; it knows nothing of
thresholds of swing or of causes.

The nock's path holds rigid yaw (and pitch), a fast narrow swing, bending of the shaft and a
circular wobble at the roll rate. Frequency alone does not always tell them apart: bending folds
down at low frame rates, and a wobble may turn as fast as a fast swing. So each kind gets a
likelihood, and what cannot be told stays a probability.
"""

from __future__ import annotations

from collections.abc import Mapping
from math import erf, exp, hypot, log, pi, sin, sqrt

from classify.thresholds import Thresholds
from classify.types import Estimate, Kind, Mode, Prediction

KINDS: tuple[Kind, ...] = ("yaw", "fast", "bending", "wobble")


def circularity(mode: Mode) -> float:
    """Tell how circular the path of a mode is.

    Parameters
    ----------
    mode
        The mode.

    Returns
    -------
    float
        0 for a straight line, 1 for a circle: twice the area over the sum of squared amplitudes.
    """
    a, b = float(mode.amplitude[0]), float(mode.amplitude[1])
    power = a * a + b * b
    if power == 0.0:
        return 0.0
    turn = sin(float(mode.phase_rad[0] - mode.phase_rad[1]))
    return abs(2.0 * a * b * turn) / power


def kind_probabilities(
    mode: Mode, *, prediction: Prediction, frame_hz: float, thresholds: Thresholds
) -> Mapping[Kind, float]:
    """Weigh the four kinds against each other for one mode.

    Parameters
    ----------
    mode
        What was measured.
    prediction
        What physics expects of this arrow.
    frame_hz
        Capture rate; sets what could have folded down to the seen frequency.
    thresholds
        Bands and prior weights.

    Returns
    -------
    Mapping
        Probability by kind; they add up to 1.

    Notes
    -----
    Densities are per unit of ln f. A kind with a band has a log-uniform density whose edges are
    softened by the frequency's own error; yaw and bending have the log-normal density of their
    prediction, widened by that error; bending is summed over every true frequency below 250 Hz
    that the frame rate would fold onto the one seen.
    """
    f, error = mode.f_hz, mode.sigma_f_hz / mode.f_hz
    round_ = circularity(mode)
    blur = min(1.0, _relative_noise(mode))
    planar = _mix(3.0 * (1.0 - round_) ** 2, blur)
    circular = _mix(6.0 * round_**5, blur)
    bending = sum(
        _log_normal(true, prediction.bending_hz, error * f / true) * f / true
        for true in (f, *folded_from(f, frame_hz))
        if true >= thresholds.bands_bending_low_hz
    )
    density = {
        "yaw": thresholds.weights_yaw * _log_normal(f, prediction.yaw_hz, error),
        "fast": thresholds.weights_fast
        * _band(f, error, thresholds.bands_fast_low_hz, thresholds.bands_fast_high_hz)
        * planar,
        "bending": thresholds.weights_bending * bending * _mix(planar, 0.5),
        "wobble": thresholds.weights_wobble
        * _band(f, error, thresholds.bands_wobble_low_hz, thresholds.bands_wobble_high_hz)
        * circular,
    }
    total = sum(density.values())
    if total < 1e-9:  # beyond every band: bending is the only one without an upper end
        return {"yaw": 0.0, "fast": 0.0, "bending": 1.0, "wobble": 0.0}
    return {kind: density[kind] / total for kind in KINDS}


def folded_from(seen_hz: float, frame_hz: float, *, highest_hz: float = 250.0) -> tuple[float, ...]:
    """List the true frequencies that a frame rate folds onto the one seen.

    Parameters
    ----------
    seen_hz
        Apparent frequency, at most half the frame rate.
    frame_hz
        Frames per second.
    highest_hz
        Where to stop.

    Returns
    -------
    tuple of float
        In rising order, the seen frequency itself left out.

    Examples
    --------
    >>> folded_from(40.0, 120.0, highest_hz=200.0)
    (80.0, 160.0, 200.0)
    """
    found = []
    multiple = 1
    while multiple * frame_hz - seen_hz <= highest_hz:
        for true in (multiple * frame_hz - seen_hz, multiple * frame_hz + seen_hz):
            if seen_hz < true <= highest_hz:
                found.append(true)
        multiple += 1
    return tuple(found)


def _relative_noise(mode: Mode) -> float:
    """Noise over amplitude, which blurs the shape of the path."""
    power = float((mode.amplitude**2).sum())
    noise = float((mode.sigma_amplitude**2).sum())
    return sqrt(noise / power) if power > 0 else 1.0


def _mix(density: float, share: float) -> float:
    """Blend a density on [0, 1] with the flat one."""
    return (1.0 - share) * density + share


def _log_normal(f_hz: float, expected: Estimate, relative_error: float) -> float:
    """Density in ln f of a log-normal prediction widened by the measurement's own error.

    A fifth of the weight has two and a half times the width: real arrows taper, and set-up sheets
    hold slips, more often than a normal law allows.
    """
    density = 0.0
    for share, widening in ((0.8, 1.0), (0.2, 2.5)):
        sigma = hypot(widening * expected.sigma, relative_error)
        density += share * exp(-0.5 * (log(f_hz / expected.value) / sigma) ** 2) / sigma
    return density / sqrt(2 * pi)


def _band(f_hz: float, relative_error: float, low_hz: float, high_hz: float) -> float:
    """Log-uniform density on a band, its edges softened by the measurement's own error."""
    soft = sqrt(2.0) * max(relative_error, 0.03)
    inside = 0.5 * (erf(log(f_hz / low_hz) / soft) - erf(log(f_hz / high_hz) / soft))
    return inside / log(high_hz / low_hz)
