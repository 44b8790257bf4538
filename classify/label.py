"""The label of a flight: what was measured meets what physics expects.

Spectrum, scale and prediction go in; presence of each disturbance, the leading one, reasons or a
refusal come out. It knows nothing of pixels, files or cures.

Presence is the probability that the swing of a kind exceeds its threshold, given the measured
amplitude with its error (two Gaussian components, hence a non-central chi-square) and the
probability that the mode is of that kind at all.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import pi, sqrt

import numpy as np
from scipy.stats import ncx2

from classify.kinds import KINDS, kind_probabilities
from classify.thresholds import Thresholds
from classify.types import (
    DISTURBANCES,
    Disturbance,
    Estimate,
    Kind,
    Label,
    Mode,
    ModeLine,
    Prediction,
    Scale,
    Spectrum,
)
from tracker.types import FloatArray, Message, message

ACROSS, UP_DOWN = 0, 1


@dataclass(frozen=True, kw_only=True, eq=False)
class Swing:
    """One mode with its scale and its kind.

    Attributes
    ----------
    mode
        As fitted.
    kind
        The likeliest kind.
    odds
        Probability of every kind.
    mm, sigma_mm
        (2,) zero to peak swing across and up-down at the first followed frame, with the scale's
        error in it.
    """

    mode: Mode
    kind: Kind
    odds: Mapping[Kind, float]
    mm: FloatArray
    sigma_mm: FloatArray


@dataclass(frozen=True, kw_only=True, eq=False)
class Labelled:
    """What the label stage adds to a spectrum.

    Attributes
    ----------
    label, presence, refused, reasons
        As in `Reading`.
    across, up_down
        Mode lines, strongest first.
    clean_below_mm
        Upper limits at 95 % of the swing across and up-down of a clean flight.
    wobble
        True where a circular wobble is wide enough to be worth a word.
    """

    label: Label | None
    presence: Mapping[Disturbance, float]
    refused: Message | None
    reasons: tuple[Message, ...]
    across: tuple[ModeLine, ...]
    up_down: tuple[ModeLine, ...]
    clean_below_mm: tuple[float, float] | None
    wobble: bool


def label_flight(
    spectrum: Spectrum,
    *,
    scale: Scale,
    prediction: Prediction,
    mm_per_deg: Estimate,
    frame_hz: float,
    thresholds: Thresholds,
) -> Labelled:
    """Name the disturbance of a flight, or say why it cannot be named.

    Parameters
    ----------
    spectrum
        The joint fit.
    scale
        How px·s become metres.
    prediction
        What physics expects of this arrow.
    mm_per_deg
        How far the nock moves about the flight path for a degree of yaw.
    frame_hz
        Capture rate.
    thresholds
        What counts.

    Returns
    -------
    Labelled
    """
    swings = tuple(_swing(mode, scale, prediction, frame_hz, thresholds) for mode in spectrum.modes)
    yaw_threshold_mm = thresholds.swing_yaw_deg * mm_per_deg.value
    looked_for: Mapping[Disturbance, tuple[Kind, int, float]] = {
        "fishtailing": ("yaw", ACROSS, yaw_threshold_mm),
        "minnowing": ("fast", ACROSS, thresholds.swing_fast_mm),
        "porpoising": ("yaw", UP_DOWN, yaw_threshold_mm),
    }
    presence = {
        name: _presence(swings, kind, axis, threshold)
        for name, (kind, axis, threshold) in looked_for.items()
    }
    wobble = _largest(swings, "wobble", ACROSS, UP_DOWN) >= thresholds.swing_wobble_mm
    refused = _doubt(spectrum, swings, presence, yaw_threshold_mm, frame_hz, thresholds)
    strength = {
        name: _largest(swings, kind, axis) / threshold
        for name, (kind, axis, threshold) in looked_for.items()
    }
    label = None if refused else _leading(presence, strength, wobble=wobble)
    if label == "clean":
        label, refused = _clean_or_hidden(spectrum, scale, looked_for)
    return Labelled(
        label=label,
        presence={name: presence[name] for name in DISTURBANCES},
        refused=refused,
        reasons=_reasons(swings, presence, prediction, mm_per_deg, frame_hz, wobble=wobble),
        across=_lines(swings, ACROSS, prediction, mm_per_deg),
        up_down=_lines(swings, UP_DOWN, prediction, mm_per_deg),
        clean_below_mm=_upper_limits(swings, spectrum, scale) if label == "clean" else None,
        wobble=wobble,
    )


def _swing(
    mode: Mode, scale: Scale, prediction: Prediction, frame_hz: float, thresholds: Thresholds
) -> Swing:
    odds = kind_probabilities(mode, prediction=prediction, frame_hz=frame_hz, thresholds=thresholds)
    factor = scale.m_per_px_s
    mm = mode.amplitude * factor.value * 1e3
    relative = factor.sigma / factor.value
    sigma = np.hypot(mode.sigma_amplitude * factor.value * 1e3, mm * relative)
    return Swing(
        mode=mode, kind=max(KINDS, key=lambda kind: odds[kind]), odds=odds, mm=mm, sigma_mm=sigma
    )


def chance_above(value: float, sigma: float, threshold: float) -> float:
    """Probability that a swing exceeds a threshold, given its measured amplitude.

    Parameters
    ----------
    value
        Measured zero to peak amplitude.
    sigma
        Standard error of each of its two components (cosine and sine).
    threshold
        In the same unit.

    Returns
    -------
    float

    Notes
    -----
    With a flat prior on the two components the true squared amplitude over sigma squared is
    non-central chi-square with two degrees of freedom.

    Examples
    --------
    >>> round(chance_above(5.0, 0.01, 4.5), 3), round(chance_above(4.0, 0.01, 4.5), 3)
    (1.0, 0.0)
    """
    if sigma <= 0.0:
        return float(value > threshold)
    # Far from the threshold the series of the non-central distribution is slow; six sigma is sure.
    if abs(value - threshold) > 6.0 * sigma:
        return float(value > threshold)
    return float(ncx2.sf((threshold / sigma) ** 2, 2, (value / sigma) ** 2))


def _presence(swings: tuple[Swing, ...], kind: Kind, axis: int, threshold_mm: float) -> float:
    absent = 1.0
    for swing in swings:
        above = chance_above(float(swing.mm[axis]), float(swing.sigma_mm[axis]), threshold_mm)
        absent *= 1.0 - swing.odds[kind] * above
    return 1.0 - absent


def _largest(swings: tuple[Swing, ...], kind: Kind, *axes: int) -> float:
    return max(
        (float(swing.mm[axis]) for swing in swings if swing.kind == kind for axis in axes),
        default=0.0,
    )


def _leading(
    presence: Mapping[Disturbance, float], strength: Mapping[Disturbance, float], *, wobble: bool
) -> Label | None:
    """Take the disturbance widest against its own threshold among those that are there."""
    there = [name for name in DISTURBANCES if presence[name] >= 0.5]
    if there:
        return max(there, key=lambda name: strength[name])
    return None if wobble else "clean"


def _clean_or_hidden(
    spectrum: Spectrum,
    scale: Scale,
    looked_for: Mapping[Disturbance, tuple[Kind, int, float]],
) -> tuple[Label | None, Message | None]:
    """Call a flight clean only if nothing that counts could hide in it."""
    for name, (kind, axis, threshold) in looked_for.items():
        # The fit gives the limit of yaw first and of the fast band second.
        at = 0 if kind == "yaw" else 1
        if at >= len(spectrum.limits):
            continue
        limit = 1e3 * scale.m_per_px_s.value * float(spectrum.limits[at].amplitude[axis])
        if limit > 1.5 * threshold:
            return None, message(f"label.hidden_{name}", limit_mm=limit, threshold_mm=threshold)
    return "clean", None


def _doubt(
    spectrum: Spectrum,
    swings: tuple[Swing, ...],
    presence: Mapping[Disturbance, float],
    yaw_threshold_mm: float,
    frame_hz: float,
    thresholds: Thresholds,
) -> Message | None:
    """Say why no label is given, if the clip does not decide what the label hangs on."""
    times = spectrum.motion.time_s
    if len(times) < thresholds.refusal_least_frames:
        return message("label.too_few_frames", frames=len(times))
    if times[-1] - times[0] < thresholds.refusal_least_seconds:
        return message("label.too_short", seconds=float(times[-1] - times[0]))
    if not spectrum.halves_agree:
        return message("label.halves_disagree")
    low, high = thresholds.refusal_doubt_low, thresholds.refusal_doubt_high
    for swing in swings:
        wide = chance_above(
            float(swing.mm[ACROSS]), float(swing.sigma_mm[ACROSS]), thresholds.swing_fast_mm
        )
        if wide > 0.5 and low < swing.odds["fast"] < high and low < presence["minnowing"] < high:
            return message(
                "label.fast_or_bending" if swing.odds["bending"] > 0.1 else "label.fast_or_slow",
                frequency_hz=swing.mode.f_hz,
                frame_hz=frame_hz,
            )
    slow: tuple[tuple[Disturbance, int], ...] = (("fishtailing", ACROSS), ("porpoising", UP_DOWN))
    for name, axis in slow:
        sigma = max(
            (float(swing.sigma_mm[axis]) for swing in swings if swing.kind == "yaw"), default=0.0
        )
        vague = sigma > thresholds.refusal_widest_sigma * yaw_threshold_mm
        if vague and low < presence[name] < high:
            return message(f"label.vague_{name}", sigma_mm=sigma, threshold_mm=yaw_threshold_mm)
    return None


def _lines(
    swings: tuple[Swing, ...], axis: int, prediction: Prediction, mm_per_deg: Estimate
) -> tuple[ModeLine, ...]:
    """List the modes along one axis, strongest first, leaving out what noise alone would show."""
    lines = []
    for swing in swings:
        mode = swing.mode
        if mode.amplitude[axis] < 2.0 * mode.sigma_amplitude[axis]:
            continue
        expected = {"yaw": prediction.yaw_hz, "bending": prediction.bending_hz}.get(swing.kind)
        lines.append(
            ModeLine(
                kind=swing.kind,
                frequency_hz=mode.f_hz,
                frequency_sigma_hz=mode.sigma_f_hz,
                swing_mm=float(swing.mm[axis]),
                swing_sigma_mm=float(swing.sigma_mm[axis]),
                swing_deg=float(swing.mm[axis]) / mm_per_deg.value if swing.kind == "yaw" else None,
                damping_ratio=damping_ratio(mode),
                expected_hz=None
                if expected is None
                else Estimate(value=expected.value, sigma=expected.value * expected.sigma),
            )
        )
    return tuple(sorted(lines, key=lambda line: -(line.swing_mm or 0.0)))


def damping_ratio(mode: Mode) -> float:
    """Fraction of critical damping of a mode.

    Parameters
    ----------
    mode
        With its decay rate and (damped) frequency.

    Returns
    -------
    float
        decay / sqrt(decay² + (2 pi f)²).
    """
    return mode.decay_per_s / sqrt(mode.decay_per_s**2 + (2.0 * pi * mode.f_hz) ** 2)


def _reasons(
    swings: tuple[Swing, ...],
    presence: Mapping[Disturbance, float],
    prediction: Prediction,
    mm_per_deg: Estimate,
    frame_hz: float,
    *,
    wobble: bool,
) -> tuple[Message, ...]:
    reasons = []
    for axis, direction in ((ACROSS, "across"), (UP_DOWN, "up_down")):
        for line in _lines(swings, axis, prediction, mm_per_deg):
            values: dict[str, str | int | float] = {
                "frequency_hz": line.frequency_hz,
                "frequency_sigma_hz": line.frequency_sigma_hz,
                "swing_mm": line.swing_mm or 0.0,
                "swing_sigma_mm": line.swing_sigma_mm or 0.0,
            }
            if line.kind == "yaw":
                values |= {
                    "swing_deg": line.swing_deg or 0.0,
                    "expected_hz": prediction.yaw_hz.value,
                    "ratio": line.frequency_hz / prediction.yaw_hz.value,
                }
            elif line.kind == "fast":
                values["ratio"] = line.frequency_hz / prediction.yaw_hz.value
            elif line.kind == "bending":
                values["expected_hz"] = prediction.bending_hz.value
            reasons.append(Message(f"label.{line.kind}_{direction}", values))
    if wobble:
        reasons.append(message("label.wobble_points_to"))
    if any(swing.odds["bending"] > 0.02 and swing.mode.f_hz < 50.0 for swing in swings):
        reasons.append(message("label.bending_folds", frame_hz=frame_hz))
    if all(value < 0.5 for value in presence.values()):
        reasons.append(message("label.below_thresholds"))
    return tuple(reasons)


def _upper_limits(
    swings: tuple[Swing, ...], spectrum: Spectrum, scale: Scale
) -> tuple[float, float]:
    """Bound the swing of a clean flight, seen or hidden, at 95 %, for each axis."""
    hidden = [limit.amplitude for limit in spectrum.limits]
    factor = 1e3 * scale.m_per_px_s.value
    limits = []
    for axis in (ACROSS, UP_DOWN):
        seen = (
            float(swing.mm[axis] + 1.645 * swing.sigma_mm[axis])
            for swing in swings
            if swing.kind in ("yaw", "fast")
        )
        could_hide = (float(amplitude[axis]) * factor for amplitude in hidden)
        limits.append(max((*seen, *could_hide), default=0.0))
    return limits[0], limits[1]
