"""A flight set by hand, as a perfect tracker would see it: for teaching, never for judging a clip.

Swings, camera and frame rate go in, a `Reading` comes out whose label and reasons are those that a
clip of such a flight would get. Bending above half the frame rate folds down, as it does in a clip.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from math import pi

import numpy as np

from classify.label import label_flight
from classify.physics import folded_hz, mm_per_degree, predict
from classify.thresholds import shipped_thresholds
from classify.types import (
    Estimate,
    Known,
    Limit,
    Mode,
    Motion,
    Reading,
    Scale,
    Spectrum,
)
from tracker.types import FloatArray

SPEED_M_S = 55.0
"""A usual recurve arrow; common practice."""
GRAVITY_M_S2 = 9.81
NOISE_PX = 0.1
"""How well a good tracker places a bright nock; chosen here."""
FADES_PER_S = {"slow": 2.0, "fast": 2.5, "bending": 9.0}
"""Decay of each motion; chosen here within what flights show."""


@dataclass(frozen=True, kw_only=True)
class Imagined:
    """A flight set by hand.

    Attributes
    ----------
    yaw_mm, pitch_mm
        Slow swing across and up-down, zero to peak at the nock.
    slow_hz
        Frequency of both.
    fast_mm, fast_hz
        Fast swing across.
    bending_mm, bending_hz
        Bending of the shaft, across.
    frame_hz
        Of the camera.
    camera_distance_m, distance_m
        Camera to nock, shooting line to target.
    focal_px
        Of the camera.
    """

    yaw_mm: float = 0.0
    pitch_mm: float = 0.0
    slow_hz: float = 2.8
    fast_mm: float = 0.0
    fast_hz: float = 20.0
    bending_mm: float = 1.5
    bending_hz: float = 80.0
    frame_hz: int = 240
    camera_distance_m: float = 2.5
    distance_m: float = 18.0
    focal_px: float = 2600.0


@dataclass(frozen=True, kw_only=True)
class _Motion:
    """One oscillation: true and seen frequency, decay, components across and up-down."""

    f_hz: float
    seen_hz: float
    decay_per_s: float
    amplitude_mm: tuple[float, float]
    phase_rad: tuple[float, float]


def imagine(flight: Imagined) -> Reading:
    """Read a flight that was set by hand.

    Parameters
    ----------
    flight
        Its swings and its camera.

    Returns
    -------
    Reading
        With exact modes, the errors that a tracker's noise would leave, and the label that follows.
        The swing in `Reading.spectrum` is without noise.
    """
    motions = _motions(flight)
    time_s = np.arange(0.0, flight.distance_m / SPEED_M_S, 1.0 / flight.frame_hz)
    singular_s = flight.camera_distance_m / SPEED_M_S
    scale = _scale(flight)
    spectrum = _spectrum(flight, motions, time_s, singular_s, scale)
    prediction = predict(None, speed_m_s=Estimate(value=SPEED_M_S, sigma=1.0))
    labelled = label_flight(
        spectrum,
        slow=None,
        scale=scale,
        prediction=prediction,
        mm_per_deg=mm_per_degree(None),
        frame_hz=float(flight.frame_hz),
        thresholds=shipped_thresholds(),
        model=None,
    )
    return Reading(
        label=labelled.label,
        presence=labelled.presence,
        refused=labelled.refused,
        reasons=labelled.reasons,
        across=labelled.across,
        up_down=labelled.up_down,
        clean_below_mm=labelled.clean_below_mm,
        unseen_below_mm=labelled.unseen_below_mm,
        spectrum=spectrum,
        scale=scale,
        prediction=prediction,
        clip_facts={"frames": len(time_s), "capture_hz": float(flight.frame_hz)},
        flight_facts={"release_s": 0.0, "speed_m_s": SPEED_M_S},
        known=Known(capture_hz=Fraction(flight.frame_hz), distance_m=flight.distance_m),
        causes=(),
    )


def arrow_shape_mm(flight: Imagined, time_s: FloatArray) -> FloatArray:
    """Tell where the arrow is across and up-down, for a picture from behind.

    Parameters
    ----------
    flight
        Its swings.
    time_s
        (n,) since the release.

    Returns
    -------
    numpy.ndarray
        (n, 3, 2) of nock, middle and point about the flight path, millimetres. Rigid swings turn
        about the balance point, 0.46 m before the nock of a 0.72 m arrow; bending moves middle
        and ends against each other by -0.608 (free-free beam, computed).
    """
    rigid, bent = np.array([1.0, 1 - 0.36 / 0.46, 1 - 0.72 / 0.46]), np.array([1.0, -0.608, 1.0])
    shape = np.zeros((len(time_s), 3, 2))
    for name, motion in _named_motions(flight):
        along = bent if name == "bending" else rigid
        shape += _swing_mm(motion, time_s)[:, None, :] * along[None, :, None]
    return shape


def _motions(flight: Imagined) -> tuple[_Motion, ...]:
    return tuple(motion for _, motion in _named_motions(flight))


def _named_motions(flight: Imagined) -> tuple[tuple[str, _Motion], ...]:
    settings = (
        ("slow", flight.slow_hz, (flight.yaw_mm, flight.pitch_mm), (0.0, -pi / 2)),
        ("fast", flight.fast_hz, (flight.fast_mm, 0.0), (-pi / 2, 0.0)),
        ("bending", flight.bending_hz, (flight.bending_mm, 0.0), (0.0, 0.0)),
    )
    return tuple(
        (
            name,
            _Motion(
                f_hz=f_hz,
                # A motion folded onto nought stands still; it is shown at the slowest instead.
                seen_hz=max(0.2, float(folded_hz(f_hz, flight.frame_hz))),
                decay_per_s=FADES_PER_S[name],
                amplitude_mm=amplitude,
                phase_rad=phase,
            ),
        )
        for name, f_hz, amplitude, phase in settings
        if max(amplitude) > 0.0
    )


def _scale(flight: Imagined) -> Scale:
    return Scale(
        m_per_px_s=Estimate(
            value=SPEED_M_S / flight.focal_px, sigma=0.02 * SPEED_M_S / flight.focal_px
        ),
        mm_per_px_at_release=Estimate(
            value=1e3 * flight.camera_distance_m / flight.focal_px, sigma=0.02
        ),
        from_="set by hand",
        speed_m_s=Estimate(value=SPEED_M_S, sigma=1.0),
    )


def _spectrum(
    flight: Imagined,
    motions: tuple[_Motion, ...],
    time_s: FloatArray,
    singular_s: float,
    scale: Scale,
) -> Spectrum:
    factor = 1e-3 / scale.m_per_px_s.value
    swing = factor * sum(
        (_swing_mm(motion, time_s) for motion in motions), np.zeros((len(time_s), 2))
    )
    sigma = np.repeat(NOISE_PX * (time_s + singular_s)[:, None], 2, axis=1)
    near = 1.0 / (time_s + singular_s)
    return Spectrum(
        modes=tuple(_mode(motion, time_s, sigma[:, 0], factor) for motion in motions),
        motion=Motion(
            time_s=time_s,
            swing=swing,
            sigma=sigma,
            fitted=swing,
            path_px=np.column_stack((4.0 * near, 9.0 * near)),
            frame=np.arange(float(len(time_s))),
        ),
        singular_time_s=Estimate(value=singular_s, sigma=0.02 * singular_s),
        fall_px_s=None,
        noise_px=NOISE_PX,
        chi2_per_dof=1.0,
        lowest_hz=1.0 / float(time_s[-1]),
        highest_hz=flight.frame_hz / 2,
        aliases=tuple(() for _ in motions),
        halves_agree=True,
        criterion="set by hand",
        limits=_limits(flight, time_s, sigma[:, 0]),
    )


def _swing_mm(motion: _Motion, time_s: FloatArray) -> FloatArray:
    fade = np.exp(-motion.decay_per_s * time_s)
    return np.column_stack(
        [
            amplitude * fade * np.cos(2 * pi * motion.f_hz * time_s + phase)
            for amplitude, phase in zip(motion.amplitude_mm, motion.phase_rad, strict=True)
        ]
    )


def _mode(motion: _Motion, time_s: FloatArray, sigma: FloatArray, factor: float) -> Mode:
    """Give the errors that the tracker's noise leaves when the path is fitted too."""
    strongest = int(np.argmax(motion.amplitude_mm))
    physics = (0.25 * motion.f_hz, 1.0)
    both = _covariance(motion, factor, strongest, (time_s, sigma), physics)
    told = (float(np.sqrt(both[2, 2])), float(np.sqrt(both[3, 3])))
    errors = []
    for axis in (0, 1):
        # The other axis learns frequency and decay from the strongest one.
        weaker = _covariance(motion, factor, axis, (time_s, sigma), told)
        covariance = both if axis == strongest else weaker
        errors.append(_amplitude_error(motion, axis, covariance))
    full = np.diag([told[0] ** 2, told[1] ** 2, *np.repeat(np.square(errors), 2)])
    return Mode(
        f_hz=motion.seen_hz,
        decay_per_s=motion.decay_per_s,
        amplitude=factor * np.array(motion.amplitude_mm),
        phase_rad=np.array(motion.phase_rad),
        sigma_f_hz=told[0],
        sigma_decay_per_s=told[1],
        sigma_amplitude=np.array(errors),
        covariance=full,
        f_from_prior=told[0] > 0.5 * physics[0],
    )


def _amplitude_error(motion: _Motion, axis: int, covariance: FloatArray) -> float:
    """Error along the swing's own phase; of a swing that is not there, the larger of the two."""
    if motion.amplitude_mm[axis] == 0.0:
        return float(np.sqrt(max(covariance[0, 0], covariance[1, 1])))
    along = np.array([np.cos(motion.phase_rad[axis]), -np.sin(motion.phase_rad[axis])])
    return float(np.sqrt(along @ covariance[:2, :2] @ along))


def _covariance(
    motion: _Motion,
    factor: float,
    axis: int,
    samples: tuple[FloatArray, FloatArray],
    prior: tuple[float, float],
) -> FloatArray:
    """(4, 4) of cosine and sine component, frequency and decay along one axis.

    The path leaves offset and drift free, and up-down the fall as well, to 2 % of itself: this is
    what makes slow swings hard to measure in a short flight. `prior` holds what is known beside
    the axis of frequency and decay.
    """
    time_s, sigma = samples
    turn = 2 * pi * motion.f_hz * time_s
    fade = np.exp(-motion.decay_per_s * time_s)
    wave = factor * motion.amplitude_mm[axis] * fade
    phase = motion.phase_rad[axis]
    fall = factor * 1e3 * GRAVITY_M_S2 / 2 * time_s**2 if axis == 1 else 0.0 * time_s
    columns = np.column_stack(
        (
            fade * np.cos(turn),
            fade * np.sin(turn),
            -2 * pi * time_s * wave * np.sin(turn + phase),
            -time_s * wave * np.cos(turn + phase),
            np.ones_like(time_s),
            time_s,
            fall,
        )
    )
    weighted = columns / sigma[:, None]
    known = np.diag([0.0, 0.0, prior[0] ** -2, prior[1] ** -2, 0.0, 0.0, 0.02**-2])
    inverse = np.linalg.inv(weighted.T @ weighted + known)
    return np.asarray(inverse[:4, :4], dtype=np.float64)


def _limits(flight: Imagined, time_s: FloatArray, sigma: FloatArray) -> tuple[Limit, ...]:
    """Tell what could hide in the noise: twice the error of a slow and of a fast swing."""
    found = []
    for f_hz in (flight.slow_hz, flight.fast_hz):
        still = _Motion(
            f_hz=f_hz, seen_hz=f_hz, decay_per_s=2.0, amplitude_mm=(0.0, 0.0), phase_rad=(0.0, 0.0)
        )
        reach = [
            2.0
            * _amplitude_error(
                still, axis, _covariance(still, 0.0, axis, (time_s, sigma), (0.25 * f_hz, 1.0))
            )
            for axis in (0, 1)
        ]
        found.append(Limit(low_hz=0.7 * f_hz, high_hz=1.4 * f_hz, amplitude=np.array(reach)))
    return tuple(found)
