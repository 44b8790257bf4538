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
from math import pi, prod, sqrt
from typing import TypedDict

import numpy as np

from classify.chances import rice_below
from classify.kinds import KINDS, kind_probabilities
from classify.label_model import LabelModel, Showing
from classify.physics import yaw_is_usual
from classify.slow_posterior import SlowSwing
from classify.thresholds import Thresholds
from classify.types import (
    DISTURBANCES,
    LIMIT_SIGMAS,
    SWINGING,
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
from tracker.types import BoolArray, FloatArray, Message, message

ACROSS, UP_DOWN = 0, 1
LIKELY = 0.5
"""Probability from which a disturbance is there."""

_MOTIONS: Mapping[Disturbance, tuple[Kind, int]] = {
    "fishtailing": ("yaw", ACROSS),
    "minnowing": ("fast", ACROSS),
    "porpoising": ("yaw", UP_DOWN),
}
"""Which motion along which axis each disturbance is."""

FAST_LIMIT = 1
"""Where `Spectrum.limits` says how wide a fast swing could hide."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Swing:
    """One mode with its scale and its kind.

    Attributes
    ----------
    f_hz, sigma_f_hz, decay_per_s
        Frequency with its error, decay rate.
    kind
        The likeliest kind.
    odds
        Probability of every kind.
    mm, sigma_mm
        (2,) zero to peak swing across and up-down at the first followed frame, with the scale's
        error in it.
    seen
        (2,) whether it stands out of its error.
    told
        (2,) whether it is told of: where it is seen, and where it is likely to be there.
    """

    f_hz: float
    sigma_f_hz: float
    decay_per_s: float
    kind: Kind
    odds: Mapping[Kind, float]
    mm: FloatArray
    sigma_mm: FloatArray
    seen: BoolArray
    told: BoolArray


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
    unseen_below_mm
        The same for each axis along which no swing was seen; None where one was, or if refused.
    wobble
        True where a circular wobble is wide enough to be worth a word.
    showings
        How each disturbance shows, for training the model.
    """

    label: Label | None
    presence: Mapping[Disturbance, float]
    refused: Message | None
    reasons: tuple[Message, ...]
    across: tuple[ModeLine, ...]
    up_down: tuple[ModeLine, ...]
    clean_below_mm: tuple[float, float] | None
    unseen_below_mm: tuple[float | None, float | None]
    wobble: bool
    showings: Mapping[Disturbance, Showing]


def label_flight(
    spectrum: Spectrum,
    *,
    slow: SlowSwing | None,
    scale: Scale,
    prediction: Prediction,
    mm_per_deg: Estimate,
    frame_hz: float,
    thresholds: Thresholds,
    model: LabelModel | None,
) -> Labelled:
    """Name the disturbance of a flight, or say why it cannot be named.

    Parameters
    ----------
    spectrum
        The joint fit.
    slow
        Rigid yaw and pitch, summed over what the clip leaves open; None to take them from the fit.
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
    model
        Corrects the rule's presence; None for the plain rule.

    Returns
    -------
    Labelled
    """
    swings = tuple(
        _swing(mode, scale, prediction, frame_hz, thresholds)
        for mode in spectrum.modes
        if slow is None or not mode.slow
    )
    yaw_threshold_mm = thresholds.swing_yaw_deg * mm_per_deg.value
    if slow is not None:
        swings = (*swings, _slow_as_swing(slow, scale, yaw_threshold_mm))
    wide_enough = {"yaw": yaw_threshold_mm, "fast": thresholds.swing_fast_mm}
    looked_for: Mapping[Disturbance, tuple[Kind, int, float]] = {
        name: (kind, axis, wide_enough[kind]) for name, (kind, axis) in _MOTIONS.items()
    }
    showings = {
        name: Showing(
            rule=_slow_presence(slow, axis, threshold, scale)
            if slow is not None and kind == "yaw"
            else _presence(swings, kind, axis, threshold),
            **_strongest(swings, kind, axis),
            threshold_mm=threshold,
            chi2_per_dof=spectrum.chi2_per_dof,
        )
        for name, (kind, axis, threshold) in looked_for.items()
    }
    presence = {
        name: showing.rule if model is None else model.presence(name, showing)
        for name, showing in showings.items()
    }
    wobble = _largest(swings, "wobble", ACROSS, UP_DOWN) >= thresholds.swing_wobble_mm
    strength = {
        name: (_is_seen(swings, kind, axis), _largest(swings, kind, axis) / threshold)
        for name, (kind, axis, threshold) in looked_for.items()
    }
    refused = _doubt(spectrum, swings, presence, looked_for, frame_hz, thresholds)
    label = None if refused else _leading(presence, strength, wobble=wobble)
    if label == "clean":
        label, refused = _clean_or_hidden(spectrum, scale, thresholds)
    limits = _upper_limits(swings, slow, spectrum, scale)
    return Labelled(
        label=label,
        presence={name: presence[name] for name in DISTURBANCES},
        refused=refused,
        reasons=(
            *_left_open(label, limits, yaw_threshold_mm),
            *_reasons(swings, presence, prediction, mm_per_deg, frame_hz, wobble=wobble),
        ),
        across=_lines(swings, ACROSS, prediction, mm_per_deg),
        up_down=_lines(swings, UP_DOWN, prediction, mm_per_deg),
        clean_below_mm=limits if label == "clean" else None,
        unseen_below_mm=(None, None) if refused else _unseen(swings, limits),
        wobble=wobble,
        showings=showings,
    )


def _swing(
    mode: Mode, scale: Scale, prediction: Prediction, frame_hz: float, thresholds: Thresholds
) -> Swing:
    odds = kind_probabilities(mode, prediction=prediction, frame_hz=frame_hz, thresholds=thresholds)
    factor = scale.m_per_px_s
    mm = mode.amplitude * factor.value * 1e3
    relative = factor.sigma / factor.value
    sigma = np.hypot(mode.sigma_amplitude * factor.value * 1e3, mm * relative)
    seen = mode.amplitude > 2.0 * mode.sigma_amplitude
    return Swing(
        f_hz=mode.f_hz,
        sigma_f_hz=mode.sigma_f_hz,
        decay_per_s=mode.decay_per_s,
        kind=max(KINDS, key=lambda kind: odds[kind]),
        odds=odds,
        mm=mm,
        sigma_mm=sigma,
        seen=seen,
        told=seen,
    )


def _slow_as_swing(slow: SlowSwing, scale: Scale, threshold_mm: float) -> Swing:
    """Put rigid yaw and pitch beside the other motions; what makes a label is always told."""
    relative = scale.m_per_px_s.sigma / scale.m_per_px_s.value
    f_hz, sigma_f_hz = slow.frequency_hz()
    decay_per_s, _ = slow.decay()
    axes = ACROSS, UP_DOWN
    mm, sigma_mm = np.array([slow.swing_mm(axis) for axis in axes]).T
    there = np.array([_slow_presence(slow, axis, threshold_mm, scale) for axis in axes])
    return Swing(
        f_hz=f_hz,
        sigma_f_hz=sigma_f_hz,
        decay_per_s=decay_per_s,
        kind="yaw",
        odds={"yaw": 1.0, "fast": 0.0, "bending": 0.0, "wobble": 0.0},
        mm=mm,
        sigma_mm=np.hypot(sigma_mm, relative * mm),
        seen=mm > 2.0 * sigma_mm,
        told=(mm > 2.0 * sigma_mm) | (there >= LIKELY),
    )


def _slow_presence(slow: SlowSwing, axis: int, threshold_mm: float, scale: Scale) -> float:
    """Chance that yaw or pitch counts, the scale's error summed over at three points."""
    relative = scale.m_per_px_s.sigma / scale.m_per_px_s.value
    nodes = ((-(3**0.5), 1 / 6), (0.0, 2 / 3), (3**0.5, 1 / 6))  # Gauss-Hermite
    chance = sum(
        weight * slow.chance_above(axis, threshold_mm / max(1.0 + node * relative, 0.1))
        for node, weight in nodes
    )
    return min(chance, 1.0)  # the weights add up to 1 but for rounding


def disturbances_found(
    label: str | None, presence: Mapping[Disturbance, float]
) -> tuple[Disturbance, ...]:
    """List every disturbance that a reading found; a flight may well have two.

    Parameters
    ----------
    label, presence
        As in `Reading`, or as in the object that it is kept as.

    Returns
    -------
    tuple of str
        The leading one first, the others in the order of `DISTURBANCES`; empty for a refusal and
        for a clean flight.

    Examples
    --------
    >>> disturbances_found("minnowing", {"fishtailing": 0.9, "minnowing": 0.8, "porpoising": 0.1})
    ('minnowing', 'fishtailing')
    """
    if label not in DISTURBANCES:
        return ()
    there = [one for one in DISTURBANCES if one == label or presence.get(one, 0.0) >= LIKELY]
    return tuple(sorted(there, key=lambda one: one != label))


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
    return 1.0 - rice_below(threshold / sigma, value / sigma)


def _presence(swings: tuple[Swing, ...], kind: Kind, axis: int, threshold_mm: float) -> float:
    absent = 1.0
    for swing in swings:
        above = chance_above(float(swing.mm[axis]), float(swing.sigma_mm[axis]), threshold_mm)
        absent *= 1.0 - swing.odds[kind] * above
    return 1.0 - absent


class _Strongest(TypedDict):
    swing_mm: float
    sigma_mm: float
    odds: float


def _strongest(swings: tuple[Swing, ...], kind: Kind, axis: int) -> _Strongest:
    """Find the swing that is likeliest and widest of a kind."""
    swing = max(swings, key=lambda one: one.odds[kind] * float(one.mm[axis]), default=None)
    if swing is None:
        return {"swing_mm": 0.0, "sigma_mm": 0.0, "odds": 0.0}
    return {
        "swing_mm": float(swing.mm[axis]),
        "sigma_mm": float(swing.sigma_mm[axis]),
        "odds": swing.odds[kind],
    }


def _largest(swings: tuple[Swing, ...], kind: Kind, *axes: int) -> float:
    return max(
        (float(swing.mm[axis]) for swing in swings if swing.kind == kind for axis in axes),
        default=0.0,
    )


def _is_seen(swings: tuple[Swing, ...], kind: Kind, axis: int) -> bool:
    """Whether a swing of a kind stands out from its own error."""
    return any(swing.kind == kind and bool(swing.seen[axis]) for swing in swings)


def _leading(
    presence: Mapping[Disturbance, float],
    strength: Mapping[Disturbance, tuple[bool, float]],
    *,
    wobble: bool,
) -> Label | None:
    """Take the disturbance widest against its own threshold among those that are there.

    One that stands out from its error comes before any that is only likely to be there.
    """
    there = [name for name in DISTURBANCES if presence[name] >= LIKELY]
    if there:
        return max(there, key=lambda name: strength[name])
    return None if wobble else "clean"


def _clean_or_hidden(
    spectrum: Spectrum, scale: Scale, thresholds: Thresholds
) -> tuple[Label | None, Message | None]:
    """Call a flight clean only if no fast swing that counts could hide in it."""
    if len(spectrum.limits) > FAST_LIMIT:
        amplitude = float(spectrum.limits[FAST_LIMIT].amplitude[ACROSS])
        limit = 1e3 * scale.m_per_px_s.value * amplitude
        threshold = thresholds.swing_fast_mm
        if limit > 1.5 * threshold:
            return None, message("label.hidden_minnowing", limit_mm=limit, threshold_mm=threshold)
    return "clean", None


def _doubt(
    spectrum: Spectrum,
    swings: tuple[Swing, ...],
    presence: Mapping[Disturbance, float],
    looked_for: Mapping[Disturbance, tuple[Kind, int, float]],
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
    name = max(presence, key=lambda key: presence[key])
    # several that are unlikely one by one may leave a clean flight in doubt together
    any_there = 1.0 - prod(1.0 - chance for chance in presence.values())
    if presence[name] >= thresholds.refusal_doubt_high or any_there < thresholds.refusal_doubt_low:
        return None  # whatever else is in doubt, one disturbance leads, or none is likely
    kind, axis, threshold = looked_for[name]
    if kind == "fast":
        return _fast_doubt(swings, frame_hz, threshold)
    return _slow_doubt(swings, name, axis, frame_hz, threshold)


def _slow_doubt(
    swings: tuple[Swing, ...], name: Disturbance, axis: int, frame_hz: float, threshold_mm: float
) -> Message:
    """Say that the widest slow swing may be bending, folded down, or else how vague it is."""
    widest = max(swings, key=lambda one: one.odds["yaw"] * float(one.mm[axis] > threshold_mm))
    if widest.odds["bending"] >= 0.1 and widest.mm[axis] > threshold_mm:
        return message("label.fast_or_bending", frequency_hz=widest.f_hz, frame_hz=frame_hz)
    sigma_mm = _strongest(swings, "yaw", axis)["sigma_mm"]
    return message(f"label.vague_{name}", sigma_mm=sigma_mm, threshold_mm=threshold_mm)


def _fast_doubt(swings: tuple[Swing, ...], frame_hz: float, threshold_mm: float) -> Message:
    """Say what else the likeliest fast swing could be."""
    swing = max(swings, key=lambda one: one.odds["fast"] * float(one.mm[ACROSS] > threshold_mm))
    others: tuple[Kind, ...] = ("bending", "wobble", "yaw")
    other = max(others, key=lambda kind: swing.odds[kind])
    if swing.odds[other] < 0.1:
        return message(
            "label.vague_minnowing",
            sigma_mm=float(swing.sigma_mm[ACROSS]),
            threshold_mm=threshold_mm,
        )
    return message(f"label.fast_or_{other}", frequency_hz=swing.f_hz, frame_hz=frame_hz)


def _lines(
    swings: tuple[Swing, ...], axis: int, prediction: Prediction, mm_per_deg: Estimate
) -> tuple[ModeLine, ...]:
    """List the modes along one axis, strongest first, leaving out what noise alone would show."""
    lines = []
    for swing in swings:
        if not swing.told[axis]:
            continue
        expected = {"yaw": prediction.yaw_hz, "bending": prediction.bending_hz}.get(swing.kind)
        lines.append(
            ModeLine(
                kind=swing.kind,
                frequency_hz=swing.f_hz,
                frequency_sigma_hz=swing.sigma_f_hz,
                swing_mm=float(swing.mm[axis]),
                swing_sigma_mm=float(swing.sigma_mm[axis]),
                swing_deg=float(swing.mm[axis]) / mm_per_deg.value if swing.kind == "yaw" else None,
                damping_ratio=damping_ratio(swing.f_hz, swing.decay_per_s),
                expected_hz=None
                if expected is None
                else Estimate(value=expected.value, sigma=expected.value * expected.sigma),
            )
        )
    return tuple(sorted(lines, key=lambda line: -(line.swing_mm or 0.0)))


def damping_ratio(f_hz: float, decay_per_s: float) -> float:
    """Fraction of critical damping of a decaying oscillation.

    Parameters
    ----------
    f_hz
        (Damped) frequency.
    decay_per_s
        Decay rate of its amplitude.

    Returns
    -------
    float
        decay / sqrt(decay² + (2 pi f)²).
    """
    return decay_per_s / sqrt(decay_per_s**2 + (2.0 * pi * f_hz) ** 2)


def _reasons(
    swings: tuple[Swing, ...],
    presence: Mapping[Disturbance, float],
    prediction: Prediction,
    mm_per_deg: Estimate,
    frame_hz: float,
    *,
    wobble: bool,
) -> tuple[Message, ...]:
    reasons, likely = [], {_MOTIONS[name] for name, odds in presence.items() if odds >= LIKELY}
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
            usual = "_usual" if line.kind in SWINGING and yaw_is_usual(prediction) else ""
            reason = Message(f"label.{line.kind}_{direction}{usual}", values)
            reasons.append(((line.kind, axis) not in likely, reason))
    # what a disturbance is read from comes before what is there beside it
    told = [reason for _, reason in sorted(reasons, key=lambda one: one[0])]
    if wobble:
        told.append(message("label.wobble_points_to"))
    if any(swing.odds["bending"] > 0.02 and swing.f_hz < 50.0 for swing in swings):
        told.append(message("label.bending_folds", frame_hz=frame_hz))
    if all(value < LIKELY for value in presence.values()):
        told.append(message("label.below_thresholds"))
    return tuple(told)


def _left_open(
    label: Label | None, limits: tuple[float, float], threshold_mm: float
) -> tuple[Message, ...]:
    """Say of a flight that is likely clean which slow swing it does not rule out.

    A flight of 0.3 s shows half a wave of the slowest yaw, so most limits at 95 % lie above what
    counts; "clean" beside such a limit would be taken for more than it is.
    """
    axis = UP_DOWN if limits[UP_DOWN] > limits[ACROSS] else ACROSS
    if label != "clean" or limits[axis] <= threshold_mm:
        return ()
    key = f"label.clean_open_{'across' if axis == ACROSS else 'up_down'}"
    return (message(key, limit_mm=limits[axis], threshold_mm=threshold_mm),)


def _unseen(
    swings: tuple[Swing, ...], limits: tuple[float, float]
) -> tuple[float | None, float | None]:
    """Leave the limits of those axes along which no slow or fast swing is told."""
    across, up_down = (
        None if any(s.told[axis] and s.kind in SWINGING for s in swings) else limits[axis]
        for axis in (ACROSS, UP_DOWN)
    )
    return across, up_down


def _may_count(swing: Swing, *, fast_only: bool) -> bool:
    """Tell whether a limit at 95 % must hold what is likelier something else."""
    kinds: tuple[Kind, ...] = ("fast",) if fast_only else SWINGING
    return sum(swing.odds[kind] for kind in kinds) > 0.05


def _upper_limits(
    swings: tuple[Swing, ...], slow: SlowSwing | None, spectrum: Spectrum, scale: Scale
) -> tuple[float, float]:
    """Bound the swing, seen or hidden, at 95 %, for each axis."""
    factor = 1e3 * scale.m_per_px_s.value
    relative = scale.m_per_px_s.sigma / scale.m_per_px_s.value
    hidden = spectrum.limits if slow is None else spectrum.limits[FAST_LIMIT:]
    limits = []
    for axis in (ACROSS, UP_DOWN):
        bounds = [float(limit.amplitude[axis]) * factor for limit in hidden]
        if slow is not None:
            bounds.append(slow.upper_mm(axis) * (1.0 + LIMIT_SIGMAS * relative))
        bounds += [
            float(swing.mm[axis] + LIMIT_SIGMAS * swing.sigma_mm[axis])
            for swing in swings
            if _may_count(swing, fast_only=slow is not None)
        ]
        limits.append(max(bounds, default=0.0))
    return limits[0], limits[1]
