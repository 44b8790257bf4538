"""Everything that ties focal length, arrow speed and the clock of a clip together.

A fitted flight and what the coach knows go in, a list of clues comes out: each says that one
product of powers of focal length, speed and clock error has a value with an error. Which of them to
believe is decided in `classify.scale` (metres) and `classify.timebase` (seconds).

In logarithms every clue is linear: with F the focal length in pixels, v the speed at the first
followed frame, c the clock error (seconds claimed per true second),

    a_F ln F + a_v ln v + a_c ln c = value +- sigma.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from classify.motion import distance_over_speed
from classify.types import Estimate, Known, Spectrum
from tracker.types import Clip, FloatArray, Track

Source = Literal[
    "usual speed", "speed", "focal length", "field of view", "fall", "face at impact",
    "face at its distance", "nock", "flight time", "camera distance",
]  # fmt: skip

USUAL_SPEED_M_S = Estimate(value=55.0, sigma=5.5)
"""Recurve arrows at release, 45 to 65 m/s at two sigma (common practice)."""

SPEED_SIGMA = 0.02
"""Relative error of a speed that somebody typed: a chronograph, another arrow; chosen here."""

FOCAL_SIGMA = 0.02
FIELD_OF_VIEW_SIGMA = 0.04
"""Phones crop their picture when they steady it; chosen here."""

LENS_WRONG, LENS_WRONG_SHARE = 0.35, 0.2
"""By how much, as a logarithm, a typed field of view may be that of another picture, and how often
it is: makers state that of photographs, and many phones use less of the sensor in slow motion
(common practice; the numbers are chosen here). Of 21 simulated flights with one typed 1.4 times too
wide nine were labelled wrongly, seven with more than 0.9, when that was not allowed for
(2026-11-29)."""

LINE_TO_NOCK_M = Estimate(value=0.0, sigma=0.35)
"""From the shooting line forward to the nock when it leaves the string; archers stand differently
(chosen here)."""

STROKE_M = Estimate(value=0.5, sigma=0.1)
"""From full draw to where the nock leaves the string (common practice)."""

ARROW_LENGTH_M = Estimate(value=0.72, sigma=0.05)
"""Where the set-up sheet does not say (common practice)."""

RELEASE_SIGMA_S = 0.010
"""The nock's last touch of the string is hidden by the archer; half of a power stroke."""

UNSEEN_LATE_S = Estimate(value=0.03, sigma=0.03)
"""From the string to the first followed frame where the release was not seen; chosen here."""

NOCK_SIGMA = 0.25
"""The nock's apparent size is blurred by the lens; chosen here."""

CAMERA_SIGMA_M = 0.3
CLICK_SIGMA_PX = 1.5


@dataclass(frozen=True, kw_only=True)
class Clue:
    """One linear statement about ln F, ln v and ln c.

    Attributes
    ----------
    source
        Where it comes from.
    powers
        Of focal length, speed and clock error.
    value, sigma
        Of the logarithm of the product.
    line
        What one standard error of `LINE_TO_NOCK_M` adds to it. All clues that rest on the distance
        share that error, so that it is no part of `sigma`.
    """

    source: Source
    powers: tuple[float, float, float]
    value: float
    sigma: float
    line: float = 0.0


def find_clues(
    spectrum: Spectrum, *, known: Known, clip: Clip, track: Track, face_px: Estimate | None
) -> tuple[Clue, ...]:
    """Collect what ties pixels and seconds to metres.

    Parameters
    ----------
    spectrum
        The fitted flight.
    known
        What the coach knows.
    clip
        For the width of the picture.
    track
        For release, impact and the nock's apparent size.
    face_px
        Apparent diameter of the target face if it was found in the picture; two clicks
        (`Known.face_mark`) take its place.

    Returns
    -------
    tuple of Clue
        With a speed always among them: the one that was typed, else the usual one.
    """
    usual = USUAL_SPEED_M_S
    slowed = _slowed(spectrum, track)
    clues = []
    if known.speed_m_s is None:
        value, sigma = float(np.log(usual.value / slowed)), usual.sigma / usual.value
        clues.append(Clue(source="usual speed", powers=(0, 1, 0), value=value, sigma=sigma))
    else:
        value = float(np.log(known.speed_m_s / slowed))
        clues.append(Clue(source="speed", powers=(0, 1, 0), value=value, sigma=SPEED_SIGMA))
    clues += _lens_clues(known, clip)
    if spectrum.fall_px_s is not None and spectrum.fall_px_s.value > 0:
        fall = spectrum.fall_px_s
        clues.append(
            Clue(
                source="fall",
                powers=(1, -1, -1),
                value=float(np.log(fall.value)),
                sigma=fall.sigma / fall.value,
            )
        )
    clues += _face_clues(spectrum, known, track, face_px)
    clues += _nock_clues(spectrum, known, track)
    clues += _distance_clues(spectrum, known, track)
    return tuple(clues)


def focal_length_px(known: Known, width_px: int) -> Estimate | None:
    """Give the focal length that the coach's word implies.

    Parameters
    ----------
    known
        With `focal_px` or `field_of_view_deg`, or neither.
    width_px
        Of the upright picture.

    Returns
    -------
    Estimate or None
        In pixels.

    Examples
    --------
    >>> round(focal_length_px(Known(field_of_view_deg=90.0), 1920).value, 6)
    960.0
    """
    if known.focal_px is not None:
        return Estimate(value=known.focal_px, sigma=FOCAL_SIGMA * known.focal_px)
    if known.field_of_view_deg is not None:
        focal = width_px / 2 / float(np.tan(np.radians(known.field_of_view_deg) / 2))
        return Estimate(value=focal, sigma=FIELD_OF_VIEW_SIGMA * focal)
    return None


def marked_face_px(known: Known) -> Estimate | None:
    """Give the apparent diameter of the face between the coach's two clicks, px."""
    mark = known.face_mark
    if mark is None:
        return None
    across = float(np.hypot(mark.x2_px - mark.x1_px, mark.y2_px - mark.y1_px))
    return Estimate(value=across, sigma=float(np.hypot(CLICK_SIGMA_PX, CLICK_SIGMA_PX)))


def to_release_s(track: Track, first_frame: int) -> Estimate | None:
    """Give the time from leaving the string to a frame, claimed seconds.

    Parameters
    ----------
    track
        With the release, or without.
    first_frame
        Number of the frame from which the flight is counted.

    Returns
    -------
    Estimate or None
        None where the release was not seen.
    """
    if track.release_s is None:
        return None
    return Estimate(
        value=float(track.time_s[first_frame]) - track.release_s,
        sigma=float(np.hypot(track.release_sigma_s or 0.0, RELEASE_SIGMA_S)),
    )


def _slowed(spectrum: Spectrum, track: Track) -> float:
    """Release speed over the speed at the first followed frame."""
    late = to_release_s(track, _first(spectrum))
    kappa = spectrum.path_parameters[1] if spectrum.path_parameters else 0.0
    return 1.0 + max(kappa, 0.0) * max(late.value, 0.0) if late else 1.0


def _lens_clues(known: Known, clip: Clip) -> list[Clue]:
    focal = focal_length_px(known, clip.width)
    if focal is None:
        return []
    return [
        Clue(
            source="focal length" if known.focal_px is not None else "field of view",
            powers=(1, 0, 0),
            value=float(np.log(focal.value)),
            sigma=focal.sigma / focal.value,
        )
    ]


def _away(spectrum: Spectrum, t_s: float | FloatArray) -> FloatArray:
    """Distance from the camera over speed at a time after the first followed frame."""
    kappa = spectrum.path_parameters[1] if spectrum.path_parameters else 0.0
    s, _ = distance_over_speed(np.atleast_1d(np.asarray(t_s, dtype=np.float64)), kappa)
    return np.asarray(spectrum.singular_time_s.value + s)


def _first(spectrum: Spectrum) -> int:
    """Frame from which the fitted flight is counted."""
    return int(spectrum.motion.frame[0])


def _impact_after_s(track: Track, first_frame: int) -> float | None:
    """From a frame to the impact, claimed seconds."""
    if track.impact_s is None:
        return None
    after = track.impact_s - float(track.time_s[first_frame])
    return after if after > 0 else None


def _arrow_length(known: Known) -> Estimate:
    length = known.arrow.length_m if known.arrow else None
    return Estimate(value=length, sigma=0.01) if length else ARROW_LENGTH_M


def _face_clues(
    spectrum: Spectrum, known: Known, track: Track, face_px: Estimate | None
) -> list[Clue]:
    """Use a face of known size: through its distance, and through the moment it was struck."""
    face = marked_face_px(known) or face_px
    if face is None or known.face_diameter_m is None:
        return []
    relative = face.sigma / face.value
    clues = []
    tau = spectrum.singular_time_s
    if known.distance_m is not None:
        if known.camera_distance_m is not None:
            behind = Estimate(
                value=known.camera_distance_m + STROKE_M.value,
                sigma=float(np.hypot(CAMERA_SIGMA_M, STROKE_M.sigma)),
            )
        else:
            behind = _behind(spectrum, known, track)
        depth = known.distance_m - LINE_TO_NOCK_M.value + behind.value
        clues.append(
            Clue(
                source="face at its distance",
                powers=(1, 0, 0),
                value=float(np.log(face.value * depth / known.face_diameter_m)),
                sigma=float(np.hypot(relative, behind.sigma / depth)),
                line=LINE_TO_NOCK_M.sigma / depth,
            )
        )
    after = _impact_after_s(track, _first(spectrum))
    if after is not None:
        away = float(_away(spectrum, after)[0])
        # The nock stops an arrow's length short of the face.
        short = _arrow_length(known).value / (_speed(known).value * away)
        late = (track.impact_sigma_s or 0.0) / away
        clues.append(
            Clue(
                source="face at impact",
                powers=(1, -1, 1),
                value=float(np.log(face.value * away * (1 + short) / known.face_diameter_m)),
                sigma=float(np.sqrt(relative**2 + (tau.sigma / away) ** 2 + late**2 + 0.01**2)),
            )
        )
    return clues


def _speed(known: Known) -> Estimate:
    """Give the arrow's speed as it was typed, else as most arrows fly."""
    if known.speed_m_s is None:
        return USUAL_SPEED_M_S
    return Estimate(value=known.speed_m_s, sigma=SPEED_SIGMA * known.speed_m_s)


def _behind(spectrum: Spectrum, known: Known, track: Track) -> Estimate:
    """Tell how far the camera stands behind the nock as it leaves the string, from perspective.

    The singular time tells how far away the arrow is where it is first followed, once the speed is
    roughly known; it has flown some of that way by then.
    """
    v, tau = _speed(known), spectrum.singular_time_s
    late = to_release_s(track, _first(spectrum)) or UNSEEN_LATE_S
    away_s = max(tau.value - max(late.value, 0.0), 0.0)
    sigma_s = float(np.hypot(tau.sigma, late.sigma))
    return Estimate(
        value=away_s * v.value,
        sigma=float(np.hypot(sigma_s * v.value, away_s * v.sigma)) + 0.5,
    )


def _nock_clues(spectrum: Spectrum, known: Known, track: Track) -> list[Clue]:
    """Use the nock's own diameter, where it is several pixels wide."""
    if known.nock_diameter_m is None:
        return []
    rows = np.flatnonzero(track.seen)
    rows = rows[np.isfinite(track.tail_px[rows]) & (track.tail_px[rows] >= 3.0)]
    rows = rows[rows >= _first(spectrum)]
    if len(rows) < 3:
        return []
    away = _away(spectrum, track.time_s[rows] - track.time_s[_first(spectrum)])
    product = float(np.median(track.tail_px[rows] * away))
    tau = spectrum.singular_time_s
    return [
        Clue(
            source="nock",
            powers=(1, -1, 1),
            value=float(np.log(product / known.nock_diameter_m)),
            sigma=float(np.hypot(NOCK_SIGMA, tau.sigma / float(np.median(away)))),
        )
    ]


def _distance_clues(spectrum: Spectrum, known: Known, track: Track) -> list[Clue]:
    """Use distances that were paced out against times that were seen."""
    clues = []
    kappa = spectrum.path_parameters[1] if spectrum.path_parameters else 0.0
    tau = spectrum.singular_time_s
    first = _first(spectrum)
    after, late = _impact_after_s(track, first), to_release_s(track, first)
    if known.distance_m is not None and after is not None:
        length = _arrow_length(known)
        way = known.distance_m - LINE_TO_NOCK_M.value - length.value
        s = float(distance_over_speed(np.array([after]), kappa)[0][0])
        impact = track.impact_sigma_s or 0.0
        candidates = []
        if late is not None:
            candidates.append(
                (way, length.sigma, s + late.value, float(np.hypot(late.sigma, impact)))
            )
        if known.camera_distance_m is not None:
            from_camera = way + known.camera_distance_m + STROKE_M.value
            sigma_c = float(np.hypot(length.sigma, CAMERA_SIGMA_M))
            candidates.append(
                (from_camera, sigma_c, s + tau.value, float(np.hypot(tau.sigma, impact)))
            )
        usable = [c for c in candidates if c[0] > 0 and c[2] > 0]
        if usable:
            m, sm, t, st = min(usable, key=lambda c: np.hypot(c[1] / c[0], c[3] / c[2]))
            clues.append(
                Clue(
                    source="flight time",
                    powers=(0, 1, -1),
                    value=float(np.log(m / t)),
                    sigma=float(np.hypot(sm / m, st / t)),
                    line=LINE_TO_NOCK_M.sigma / m,
                )
            )
    if known.camera_distance_m is not None and late is not None:
        t = tau.value - late.value
        sigma_t = float(np.hypot(tau.sigma, late.sigma))
        m = known.camera_distance_m + STROKE_M.value
        if t > 3 * sigma_t:
            sigma_m = float(np.hypot(CAMERA_SIGMA_M, STROKE_M.sigma))
            clues.append(
                Clue(
                    source="camera distance",
                    powers=(0, 1, -1),
                    value=float(np.log(m / t)),
                    sigma=float(np.hypot(sigma_m / m, sigma_t / t)),
                )
            )
    return clues
