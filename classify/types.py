"""The nouns of the reading: what the coach knows, what was measured, what is concluded.

Across is the archer's right when positive; up-down is up when positive (pictures have y down:
the sign changes exactly once, in `classify.motion`). SI units; conversions at the border only.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from tracker.types import Click, FloatArray, Message, frozen_array

Hand = Literal["right", "left"]
Kind = Literal["yaw", "fast", "bending", "wobble"]
SWINGING: tuple[Kind, ...] = ("yaw", "fast")
"""Kinds of motion that count as a swing; bending and wobble are told apart from them."""

LIMIT_SIGMAS = 1.645
"""Standard errors of a swing of nought that its upper limit at 95 % is away."""
Disturbance = Literal["fishtailing", "minnowing", "porpoising"]
Label = Literal["fishtailing", "minnowing", "porpoising", "clean"]
DISTURBANCES: tuple[Disturbance, ...] = ("fishtailing", "minnowing", "porpoising")


@dataclass(frozen=True, kw_only=True)
class ArrowSpec:
    """An arrow as the set-up sheet knows it; None where it does not.

    Attributes
    ----------
    spine
        Static spine number (ASTM F2031, thousandths of an inch).
    length_m
        Throat of the nock to the end of the shaft, point excluded.
    shaft_kg_per_m, point_kg, nock_kg, fletching_kg
        Masses; `point_kg` includes the insert, `fletching_kg` is all vanes together.
    diameter_m
        Of the shaft.
    vanes, vane_length_m, vane_height_m, vane_from_nock_m
        Count, size, and distance from the nock's throat to the middle of a vane.
    balance_m
        Nock's throat to the balance point.
    """

    spine: float | None = None
    length_m: float | None = None
    shaft_kg_per_m: float | None = None
    point_kg: float | None = None
    nock_kg: float | None = None
    fletching_kg: float | None = None
    diameter_m: float | None = None
    vanes: int | None = None
    vane_length_m: float | None = None
    vane_height_m: float | None = None
    vane_from_nock_m: float | None = None
    balance_m: float | None = None


@dataclass(frozen=True, kw_only=True)
class FaceMark:
    """Two clicks on opposite edges of the target face.

    Attributes
    ----------
    frame
        Frame on which they were made.
    x1_px, y1_px, x2_px, y2_px
        Ends of one diameter in the upright picture.
    """

    frame: int
    x1_px: float
    y1_px: float
    x2_px: float
    y2_px: float


@dataclass(frozen=True, kw_only=True)
class Known:
    """What the coach knows and the clip does not say; None where nobody said.

    Attributes
    ----------
    capture_hz
        Rate at which the phone took the frames.
    distance_m
        Shooting line to target.
    camera_distance_m
        Camera to the nock at full draw.
    speed_m_s
        Arrow speed at release.
    face_diameter_m
        Of the whole target face.
    face_mark
        Its edges in the picture.
    focal_px
        Focal length in pixels of the upright picture.
    field_of_view_deg
        Horizontal field of view; an alternative to `focal_px`.
    nock_diameter_m
        Outer diameter of the nock as seen from behind.
    hand
        The archer's hand; a right-handed archer draws with the right.
    click
        Where the nock is in one frame.
    arrow
        The arrow as the set-up sheet knows it.
    flight
        Which flight of the clip to read, from 0.
    first_frame, last_frame
        First and last frame of the flight, where a person set them.
    """

    capture_hz: Fraction | None = None
    distance_m: float | None = None
    camera_distance_m: float | None = None
    speed_m_s: float | None = None
    face_diameter_m: float | None = None
    face_mark: FaceMark | None = None
    focal_px: float | None = None
    field_of_view_deg: float | None = None
    nock_diameter_m: float | None = None
    hand: Hand | None = None
    click: Click | None = None
    arrow: ArrowSpec | None = None
    flight: int = 0
    first_frame: int | None = None
    last_frame: int | None = None


@dataclass(frozen=True, kw_only=True)
class Estimate:
    """A number with its standard error.

    Attributes
    ----------
    value, sigma
        In the unit the owner's name gives.
    """

    value: float
    sigma: float


@dataclass(frozen=True, kw_only=True)
class Priors:
    """What is expected of a flight before its track is looked at, for the joint fit.

    Attributes
    ----------
    yaw_hz
        Rigid yaw and pitch; the sigma is that of the natural logarithm.
    yaw_damping_ratio
        Its fraction of critical damping.
    drag_per_s
        Share of the speed lost per second.
    singular_time_s
        Camera distance over speed at the first followed frame; the sigma is that of the natural
        logarithm.
    fall_px_s
        Focal length over speed, px·s per metre; None where neither is known.
    fall_cases
        The same where it may be one of several, as where a typed field of view may be that of
        another picture: share and value of each; empty or one where `fall_px_s` says it all.
    roll_rad
        Tilt of the camera about its axis, which also stands for a steady push from the side, in
        units of gravity.
    swing_m
        A usual swing of the nock, standard deviation of each component.
    """

    yaw_hz: Estimate = Estimate(value=2.8, sigma=0.35)
    yaw_damping_ratio: Estimate = Estimate(value=0.09, sigma=0.04)
    drag_per_s: Estimate = Estimate(value=0.07, sigma=0.03)
    singular_time_s: Estimate = Estimate(value=0.12, sigma=1.0)
    fall_px_s: Estimate | None = None
    fall_cases: tuple[tuple[float, Estimate], ...] = ()
    roll_rad: Estimate = Estimate(value=0.0, sigma=0.03)
    swing_m: float = 0.010


@dataclass(frozen=True, kw_only=True)
class Unread:
    """Nature's answer that a followed flight does not suffice for a reading.

    Attributes
    ----------
    reason
        What was found, what is needed, what to film instead.
    """

    reason: Message


@dataclass(frozen=True, kw_only=True, eq=False)
class Limit:
    """How wide a swing could hide in a band of frequencies.

    Attributes
    ----------
    low_hz, high_hz
        The band.
    amplitude
        (2,) across and up-down, zero to peak at the first followed frame, px·s; the swing is
        smaller with 95 % probability.
    """

    low_hz: float
    high_hz: float
    amplitude: FloatArray

    def __post_init__(self) -> None:
        object.__setattr__(self, "amplitude", frozen_array(self.amplitude, (2,), "amplitude"))


@dataclass(frozen=True, kw_only=True)
class Prediction:
    """What physics expects of this arrow before the clip is looked at.

    Attributes
    ----------
    yaw_hz, bending_hz
        Frequency of rigid yaw (and pitch) and of the first free bending mode; the sigma is that
        of the natural logarithm, since the priors are log-normal.
    yaw_damping_ratio
        Of rigid yaw.
    speed_m_s
        At release.
    from_
        "set-up" if enough of the set-up sheet was known, else "broad prior".
    assumed
        Names of the `ArrowSpec` parts that the sheet did not give and that were filled in with
        what is usual; giving them sharpens the prediction.
    """

    yaw_hz: Estimate
    bending_hz: Estimate
    yaw_damping_ratio: Estimate
    speed_m_s: Estimate
    from_: Literal["set-up", "broad prior"]
    assumed: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True, eq=False)
class Mode:
    """One decaying oscillation of the nock about the flight path, in both axes.

    The swing is ``amplitude[k] * exp(-decay * t) * cos(2 pi f t + phase[k])`` with t since the
    first followed frame, k = 0 across (right positive), 1 up-down (up positive).

    Attributes
    ----------
    f_hz, decay_per_s
        Frequency and decay rate at the start of the flight.
    amplitude
        (2,) zero to peak at the first followed frame, in px·s (swing in metres times focal length
        over arrow speed); multiply by `Scale.m_per_px_s`.
    phase_rad
        (2,)
    sigma_f_hz, sigma_decay_per_s
        Standard errors; may be wide or infinite for yaw seen for less than a period.
    sigma_amplitude
        (2,) standard errors.
    covariance
        (6, 6) of (f_hz, decay_per_s, a0 cos, a0 sin, a1 cos, a1 sin).
    f_from_prior
        True where the frequency owes more to the prior than to the clip.
    slow
        True for rigid yaw and pitch, whose phase and decay run with the way flown.
    """

    f_hz: float
    decay_per_s: float
    amplitude: FloatArray
    phase_rad: FloatArray
    sigma_f_hz: float
    sigma_decay_per_s: float
    sigma_amplitude: FloatArray
    covariance: FloatArray
    f_from_prior: bool
    slow: bool = False

    def __post_init__(self) -> None:
        for name, shape in (
            ("amplitude", (2,)),
            ("phase_rad", (2,)),
            ("sigma_amplitude", (2,)),
            ("covariance", (6, 6)),
        ):
            object.__setattr__(self, name, frozen_array(getattr(self, name), shape, name))


@dataclass(frozen=True, kw_only=True, eq=False)
class Motion:
    """The swing of the nock about its flight path, for the curves.

    Attributes
    ----------
    time_s
        (n,) since the first followed frame; only frames in which the nock was seen.
    swing, sigma, fitted
        (n, 2) measured swing about the fitted path, its standard error, the fitted modes; in px·s
        (multiply by `Scale.m_per_px_s` for metres).
    path_px
        (n, 2) the fitted flight path in the picture, swing left out, pixels (y down).
    frame
        (n,) frame numbers.
    """

    time_s: FloatArray
    swing: FloatArray
    sigma: FloatArray
    fitted: FloatArray
    path_px: FloatArray
    frame: FloatArray

    def __post_init__(self) -> None:
        n = len(self.time_s)
        for name, shape in (
            ("time_s", (n,)),
            ("swing", (n, 2)),
            ("sigma", (n, 2)),
            ("fitted", (n, 2)),
            ("path_px", (n, 2)),
            ("frame", (n,)),
        ):
            object.__setattr__(self, name, frozen_array(getattr(self, name), shape, name))


@dataclass(frozen=True, kw_only=True, eq=False)
class Spectrum:
    """What the joint fit found.

    Attributes
    ----------
    modes
        Strongest first.
    motion
        The swing about the path.
    singular_time_s
        Camera distance over speed, b/v, with its error: sets how perspective shrinks the picture.
    fall_px_s
        Focal length over speed from the fall under gravity (px·s per metre), if seen.
    noise_px
        Root mean square of the weighted residual in pixels.
    chi2_per_dof
        Residual against claimed sigma; 1 when the tracker's sigma tells the whole story.
    lowest_hz, highest_hz
        Band in which this clip could tell a frequency (one period in the flight; Nyquist).
    aliases
        For each mode the true frequencies above Nyquist that would look the same (below 250 Hz).
    halves_agree
        False if the two halves of the flight tell different stories beyond their errors.
    criterion
        Which number decided how many modes there are.
    limits
        What could hide: yaw and pitch first, then the fast swing, each beside the modes found.
    path_parameters
        (3,) logarithm of the singular time, drag per second, roll, as fitted.
    excess
        Variance that is believed of the places over the claimed one, at least 1: that of the whole
        residual or of its slow waves, whichever is noisier.
    """

    modes: tuple[Mode, ...]
    motion: Motion
    singular_time_s: Estimate
    fall_px_s: Estimate | None
    noise_px: float
    chi2_per_dof: float
    lowest_hz: float
    highest_hz: float
    aliases: tuple[tuple[float, ...], ...]
    halves_agree: bool
    criterion: str
    limits: tuple[Limit, ...] = ()
    path_parameters: tuple[float, float, float] | None = None
    excess: float = 1.0


@dataclass(frozen=True, kw_only=True)
class Scale:
    """How px·s become metres.

    Attributes
    ----------
    m_per_px_s
        Arrow speed over focal length, with its error.
    mm_per_px_at_release
        Millimetres per pixel at the first followed frame.
    from_
        What it rests on, in words: "face", "fall", "speed and field of view", ...
    speed_m_s
        Arrow speed at the first followed frame, if it follows.
    notes
        Clues that contradict each other.
    """

    m_per_px_s: Estimate
    mm_per_px_at_release: Estimate
    from_: str
    speed_m_s: Estimate | None
    notes: tuple[Message, ...] = ()


@dataclass(frozen=True, kw_only=True)
class ModeLine:
    """One mode along one axis as the coach reads it.

    Attributes
    ----------
    kind
        What moves.
    frequency_hz, frequency_sigma_hz, damping_ratio
        Frequency, its standard error, fraction of critical damping.
    swing_mm, swing_sigma_mm
        Zero to peak at the first followed frame; None without a scale.
    swing_deg
        The angle of the arrow that goes with it, for yaw; else None.
    expected_hz
        What physics expects of this arrow for this kind; its sigma is in hertz, too, and not that
        of a logarithm as in `Priors`. None for fast and wobble.
    """

    kind: Kind
    frequency_hz: float
    frequency_sigma_hz: float
    swing_mm: float | None
    swing_sigma_mm: float | None
    swing_deg: float | None
    damping_ratio: float
    expected_hz: Estimate | None = None


@dataclass(frozen=True, kw_only=True)
class Cause:
    """A likely cause with the first change to try.

    Attributes
    ----------
    name
        Key in the knowledge file.
    title, why, first_change, caution
        Sentences for the archer's own hand, from the knowledge file.
    source
        Publication, or "common practice".
    """

    name: str
    title: str
    why: str
    first_change: str
    caution: str | None
    source: str


@dataclass(frozen=True, kw_only=True, eq=False)
class Reading:
    """Everything one flight told.

    Attributes
    ----------
    label
        The leading disturbance, "clean", or None if refused.
    presence
        Probability of each disturbance, by name.
    refused
        Why not, and what to film instead; None for a reading.
    reasons
        How fast, how wide, against what is expected.
    across, up_down
        Mode lines, strongest first.
    clean_below_mm
        (across, up-down) upper limits at 95 % where the flight is clean; None otherwise.
    unseen_below_mm
        (across, up-down) the same along each axis in which no slow or fast swing was seen; None
        where one was, or where nothing was labelled.
    spectrum, scale, prediction
        What they rest on; None where it did not get so far.
    clip_facts, flight_facts
        What `read --json` prints under `clip` and `flight`.
    known
        What the coach said.
    causes
        Ordered.
    notes
        What qualifies the reading.
    version
        Of the tool, so that the reading can be run again.
    """

    label: Label | None
    presence: Mapping[Disturbance, float]
    refused: Message | None
    reasons: tuple[Message, ...]
    across: tuple[ModeLine, ...]
    up_down: tuple[ModeLine, ...]
    clean_below_mm: tuple[float, float] | None
    spectrum: Spectrum | None
    scale: Scale | None
    prediction: Prediction | None
    clip_facts: Mapping[str, object]
    flight_facts: Mapping[str, object]
    known: Known
    causes: tuple[Cause, ...]
    notes: tuple[Message, ...] = ()
    version: str = ""
    unseen_below_mm: tuple[float | None, float | None] = (None, None)
