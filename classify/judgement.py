"""From the track of one flight to its reading: measure, scale, check the clock, judge.

A track, its clip's facts and what the coach knows go in, a `Reading` comes out; it never opens a
file.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from importlib.metadata import version
from math import hypot, inf, isfinite

import numpy as np

from classify.clues import SPEED_SIGMA, find_clues
from classify.knowledge import causes_for
from classify.label import Labelled, label_flight
from classify.label_model import LabelModel, shipped_label_model
from classify.nock_noise import believed_sigma_px
from classify.physics import mm_per_degree, predict
from classify.scale import clues_disagree, find_scale, priors_for, told_priors
from classify.slow_posterior import SlowSwing
from classify.slow_swing import slow_swing
from classify.spectral import fit_swing
from classify.thresholds import shipped_thresholds
from classify.timebase import TimeBase, check_time_base
from classify.types import (
    DISTURBANCES,
    LIMIT_SIGMAS,
    Cause,
    Disturbance,
    Estimate,
    Known,
    Prediction,
    Reading,
    Scale,
    Spectrum,
    Unread,
)
from tracker.types import Clip, InputError, Message, Track, message

POSSIBLE: Mapping[str, tuple[float, float]] = {
    "capture_hz": (10.0, 10_000.0),
    "distance_m": (2.0, 200.0),
    "camera_distance_m": (0.2, 100.0),
    "speed_m_s": (15.0, 130.0),
    "face_diameter_m": (0.1, 2.0),
    "focal_px": (50.0, 100_000.0),
    "field_of_view_deg": (0.5, 170.0),
    "nock_diameter_m": (0.002, 0.03),
}
"""What could be met on a range, with much room; chosen here."""

MOST_FACE_PX, MOST_SAID = 1e5, 10**300

ASLANT_RAD = 0.07
"""Tilt of the phone from which it is worth a word, 4 degrees; chosen here."""

LEAST_SURE = 0.9
"""Confidence in a path below which its flight gets no label (chosen here)."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Measured:
    """Everything measured of a flight, before it is judged.

    Attributes
    ----------
    spectrum, scale, prediction, time_base
        Of the stages by these names.
    slow
        Rigid yaw and pitch summed over what the clip leaves open; None where there is no scale or
        the fit says it better.
    conflict
        Which clues of the scale lie too far apart; None where they agree.
    """

    spectrum: Spectrum
    slow: SlowSwing | None
    scale: Scale | None
    prediction: Prediction
    time_base: TimeBase
    conflict: Message | None


def read_track(
    track: Track, *, clip: Clip, known: Known, face_px: Estimate | None = None
) -> Reading:
    """Read one flight.

    Parameters
    ----------
    track
        The nock's path.
    clip
        Of the film it was seen in.
    known
        What the coach knows.
    face_px
        Apparent diameter of the target face, if it was found in the picture.

    Returns
    -------
    Reading
        A label with reasons, or a refusal with a reason.
    """
    measured = measure(track, clip=clip, known=known, face_px=face_px)
    if isinstance(measured, Unread):
        return bare_reading(clip, track, known, refused=measured.reason)
    return _judge(measured, track, clip, known)


def measure(
    track: Track, *, clip: Clip, known: Known, face_px: Estimate | None = None
) -> Measured | Unread:
    """Measure one flight without judging it.

    Parameters
    ----------
    track, clip, known, face_px
        As for `read_track`.

    Returns
    -------
    Measured or Unread
    """
    speed = known.speed_m_s
    typed = None if speed is None else Estimate(value=speed, sigma=SPEED_SIGMA * speed)
    prediction = predict(known.arrow, speed_m_s=typed)
    priors = priors_for(known=known, prediction=prediction, clip=clip, track=track)
    believed = _with_floor(track)
    spectrum = fit_swing(believed, priors)
    if isinstance(spectrum, Unread):
        return spectrum
    scale = find_scale(spectrum, known=known, clip=clip, track=track, face_px=face_px)
    time_base = check_time_base(spectrum, scale, known, clip, track, face_px=face_px)
    clues = find_clues(spectrum, known=known, clip=clip, track=track, face_px=face_px)
    slow = None
    if scale is not None:
        mm_per_px_s = 1e3 * scale.m_per_px_s.value
        slow = slow_swing(
            believed, spectrum, priors=told_priors(priors, clues), mm_per_px_s=mm_per_px_s
        )
    return Measured(
        spectrum=spectrum,
        slow=slow,
        scale=scale,
        prediction=prediction,
        time_base=time_base,
        conflict=clues_disagree(clues),
    )


def _with_floor(track: Track) -> Track:
    """Widen a track's errors by what no pixel's noise tells of: compression and busy scenery."""
    believed = np.stack(
        [believed_sigma_px(sigma, track.tail_px) for sigma in track.sigma_px.T], axis=1
    )
    return replace(track, sigma_px=believed)


def check_known(known: Known) -> None:
    """Refuse what cannot be, before any work is done.

    Parameters
    ----------
    known
        What the coach said.

    Raises
    ------
    InputError
        If a number is not finite, not positive, or beyond anything on a range.
    """
    for name, (low, high) in POSSIBLE.items():
        value = getattr(known, name)
        if value is not None and not low <= value <= high:
            # A fraction or a whole number may be too large for a floating-point number.
            found = float(value) if isinstance(value, float) or abs(value) < MOST_SAID else inf
            raise InputError("label.impossible", name=name, found=found, low=low, high=high)
    if known.flight < 0:
        raise InputError("label.not_a_flight_number", found=known.flight)
    if known.focal_px is not None and known.field_of_view_deg is not None:
        raise InputError("label.two_focals")
    click = known.click
    if click is not None and not (
        click.frame >= 0 and isfinite(click.x_px) and isfinite(click.y_px)
    ):
        raise InputError("label.impossible_click")
    mark = known.face_mark
    if mark is not None and not (
        mark.frame >= 0
        and 1.0 <= hypot(mark.x2_px - mark.x1_px, mark.y2_px - mark.y1_px) <= MOST_FACE_PX
    ):
        raise InputError("label.impossible_face_mark")


def bare_reading(clip: Clip, track: Track | None, known: Known, *, refused: Message) -> Reading:
    """Make a refusal, or the start of a reading, from what needs no judgement.

    Parameters
    ----------
    clip, track, known
        What there is; no track where no flight was found.
    refused
        Why there is no label.

    Returns
    -------
    Reading
        With every field that does not hang on the joint fit.
    """
    return Reading(
        label=None,
        presence=dict.fromkeys(DISTURBANCES, float("nan")),
        refused=refused,
        reasons=(),
        across=(),
        up_down=(),
        clean_below_mm=None,
        spectrum=None,
        scale=None,
        prediction=None,
        clip_facts={
            "frames": clip.frames,
            "container_hz": _rate(clip.container_hz),
            "capture_hz": _rate(clip.capture_hz),
            "capture_from": clip.capture_from,
            "width": clip.width,
            "height": clip.height,
        },
        flight_facts={
            "first_frame": None if track is None else track.first_frame,
            "last_frame": None if track is None else track.last_frame,
            "release_s": None if track is None else track.release_s,
            "impact_s": None if track is None else track.impact_s,
            "speed_m_s": None,
            "speed_sigma_m_s": None,
            "flight": known.flight,
            "found_by": None if track is None else track.found_by,
            "confidence": None if track is None else track.confidence,
        },
        known=known,
        causes=(),
        notes=(*clip.notes, *(() if track is None else (*_doubt(track, refused), *track.notes))),
        version=version("tailsway"),
    )


def _doubt(track: Track, refused: Message) -> tuple[Message, ...]:
    """Say that something else may have been followed, unless the refusal says so."""
    if not track.in_doubt or refused.key == "label.path_in_doubt":
        return ()
    return (message("label.path_perhaps", sure=round(100 * track.confidence)),)


def _as_sure(presence: Mapping[Disturbance, float], track: Track) -> Mapping[Disturbance, float]:
    """Claim nothing more surely than that the arrow was followed, be it there or not.

    As if the opposite were true of the flight wherever something else was followed.
    """
    if not track.in_doubt:
        return presence
    sure = track.confidence
    return {name: sure * there + (1 - sure) * (1 - there) for name, there in presence.items()}


def label_measured(
    measured: Measured,
    *,
    scale: Scale,
    known: Known,
    frame_hz: float,
    model: LabelModel | None,
) -> Labelled:
    """Label what was measured.

    Parameters
    ----------
    measured
        The flight.
    scale
        Its scale.
    known
        What the coach knows.
    frame_hz
        Capture rate.
    model
        Corrects the rule; None for the plain rule.

    Returns
    -------
    Labelled
    """
    return label_flight(
        measured.spectrum,
        slow=measured.slow,
        scale=scale,
        prediction=measured.prediction,
        mm_per_deg=mm_per_degree(known.arrow),
        frame_hz=frame_hz,
        thresholds=shipped_thresholds(),
        model=model,
    )


def _judge(measured: Measured, track: Track, clip: Clip, known: Known) -> Reading:
    """Refuse, or label, what was measured."""
    base, scale = measured.time_base, measured.scale
    if clip.capture_hz is None:
        return bare_reading(clip, track, known, refused=_say_rate(base))
    if track.in_doubt and track.confidence < LEAST_SURE:
        doubt = message("label.path_in_doubt", sure=round(100 * track.confidence))
        return _with(measured, bare_reading(clip, track, known, refused=doubt))
    if not base.ok:
        return _with(measured, bare_reading(clip, track, known, refused=base.messages[0]))
    if scale is None:
        reason = measured.conflict or message("label.no_scale")
        return _with(measured, bare_reading(clip, track, known, refused=reason))
    labelled = label_measured(
        measured,
        scale=scale,
        known=known,
        frame_hz=float(clip.capture_hz),
        model=shipped_label_model(),
    )
    reading = bare_reading(clip, track, known, refused=message("label.no_flight"))
    return replace(
        _with(measured, reading),
        label=labelled.label,
        presence=_as_sure(labelled.presence, track),
        refused=labelled.refused,
        reasons=labelled.reasons,
        across=labelled.across,
        up_down=labelled.up_down,
        clean_below_mm=labelled.clean_below_mm,
        unseen_below_mm=labelled.unseen_below_mm,
        causes=_causes(labelled, known),
    )


def _with(measured: Measured, reading: Reading) -> Reading:
    """Add what was measured to a reading."""
    scale = measured.scale
    speed = None if scale is None else scale.speed_m_s
    return replace(
        reading,
        spectrum=measured.spectrum,
        scale=scale,
        prediction=measured.prediction,
        flight_facts={
            **reading.flight_facts,
            # swings count from the first frame of free flight, which may be later than the track's
            "first_frame": int(measured.spectrum.motion.frame[0]),
            "speed_m_s": None if speed is None else speed.value,
            "speed_sigma_m_s": None if speed is None else speed.sigma,
        },
        notes=(
            *reading.notes,
            *(note for note in measured.time_base.messages if note != reading.refused),
            *(() if scale is None else scale.notes),
            *(() if measured.slow is None else _aslant(measured.slow)),
        ),
    )


def _aslant(slow: SlowSwing) -> tuple[Message, ...]:
    """Say that the path bends sideways more than a phone held straight would show."""
    tilt_rad, sigma_rad = slow.tilt()
    if abs(tilt_rad) < max(ASLANT_RAD, LIMIT_SIGMAS * sigma_rad):
        return ()
    key = "label.aslant_right" if tilt_rad > 0 else "label.aslant_left"
    return (message(key, tilt_deg=float(np.degrees(abs(tilt_rad)))),)


def _say_rate(base: TimeBase) -> Message:
    if base.suggested_hz is None:
        return message("label.no_capture_rate")
    return message("label.no_capture_rate_but", suggested_hz=float(base.suggested_hz))


def _causes(labelled: Labelled, known: Known) -> tuple[Cause, ...]:
    if labelled.refused is not None:
        return ()
    findings: dict[str, float] = dict(labelled.presence.items())
    if labelled.wobble:
        findings["wobble"] = 1.0
    if labelled.label == "clean":
        findings["clean_flight"] = 1.0 - max(labelled.presence.values())
    return causes_for(findings, hand=known.hand)


def _rate(rate: Fraction | None) -> float | None:
    return None if rate is None else float(rate)
