"""The nouns of the filming plan: camera, place to stand, shot; and what a film would show.

Each refuses, with a sentence, what cannot be.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from classify.nock_noise import MARKINGS, Marking
from classify.types import ArrowSpec, Estimate
from tracker.types import InputError, Message

Swing = Literal["yaw", "fast"]
"""What a film is planned for: fishtailing and porpoising, or minnowing."""

Range = tuple[str, float, float]

FRAME_HZ: Range = ("plan.bad_frame_rate", 5.0, 1000.0)
SIZE_PX: Range = ("plan.bad_picture_size", 64, 10000)
FOCAL_PX: Range = ("plan.bad_focal", 50.0, 100000.0)
FIELD_DEG: Range = ("plan.bad_field_of_view", 1.0, 150.0)
ZOOM: Range = ("plan.bad_zoom", 0.3, 50.0)
BEHIND_M: Range = ("plan.bad_behind", 0.5, 50.0)
OFFSET_M: Range = ("plan.bad_offset", -10.0, 10.0)
DISTANCE_M: Range = ("plan.bad_distance", 3.0, 150.0)
NOCK_MM: Range = ("plan.bad_nock", 2.0, 60.0)
SPEED_M_S: Range = ("plan.bad_speed", 20.0, 120.0)
WANTED_MM: Range = ("plan.bad_wanted", 0.01, 1000.0)


def _need(found: float, allowed: Range) -> None:
    """Refuse a number outside its range, NaN included."""
    key, least, most = allowed
    if not least <= found <= most:
        raise InputError(key, found=float(found), least=least, most=most)


@dataclass(frozen=True, kw_only=True)
class CameraSetting:
    """What the phone is set to.

    Attributes
    ----------
    frame_hz
        Frames a second that the sensor really takes.
    width_px, height_px
        Of the upright picture.
    focal_px
        Focal length in pixels of that picture; None if `field_of_view_deg` is given instead.
    field_of_view_deg
        Horizontal field of view of the upright picture without zoom.
    zoom
        Of the lens. Zoom past the sensor's own pixels makes the nock larger, not clearer.
    """

    frame_hz: Fraction
    width_px: int
    height_px: int
    focal_px: float | None = None
    field_of_view_deg: float | None = None
    zoom: float = 1.0

    def __post_init__(self) -> None:
        _need(float(self.frame_hz), FRAME_HZ)
        _need(self.width_px, SIZE_PX)
        _need(self.height_px, SIZE_PX)
        _need(self.zoom, ZOOM)
        if (self.focal_px is None) == (self.field_of_view_deg is None):
            raise InputError("plan.focal_or_field")
        if self.field_of_view_deg is not None:
            _need(self.field_of_view_deg, FIELD_DEG)
        else:
            _need(self.zoomed_focal_px, FOCAL_PX)

    @property
    def zoomed_focal_px(self) -> float:
        """Focal length in pixels, zoom included."""
        if self.focal_px is not None:
            return self.focal_px * self.zoom
        half = math.radians((self.field_of_view_deg or 0.0) / 2)
        return self.width_px / 2 / math.tan(half) * self.zoom


@dataclass(frozen=True, kw_only=True)
class Standing:
    """Where the camera is, about the nock at full draw.

    Attributes
    ----------
    behind_m
        Behind it along the line of flight, always above zero.
    offset_m
        To its right (positive) or left, as the archer looks at the target.
    """

    behind_m: float
    offset_m: float

    def __post_init__(self) -> None:
        if self.behind_m <= 0:
            raise InputError("plan.forward_of_the_line", found=float(self.behind_m))
        _need(self.behind_m, BEHIND_M)
        _need(self.offset_m, OFFSET_M)


@dataclass(frozen=True, kw_only=True)
class Shot:
    """What is to be filmed.

    Attributes
    ----------
    distance_m
        Shooting line to target.
    nock_diameter_m
        Outer diameter of what marks the tail: nock, or tape round it.
    marking
        How it stands out.
    arrow, speed_m_s
        As far as they are known.
    wanted_slow_mm, wanted_fast_mm
        Swing at the nock, zero to peak, that the film should show; None for the size from which
        the trade gives it a name.
    """

    distance_m: float
    nock_diameter_m: float
    marking: Marking
    arrow: ArrowSpec | None = None
    speed_m_s: Estimate | None = None
    wanted_slow_mm: float | None = None
    wanted_fast_mm: float | None = None

    def __post_init__(self) -> None:
        _need(self.distance_m, DISTANCE_M)
        _need(1e3 * self.nock_diameter_m, NOCK_MM)
        if self.marking not in MARKINGS:
            raise InputError("plan.bad_marking", found=self.marking, known=", ".join(MARKINGS))
        if self.speed_m_s is not None:
            _need(self.speed_m_s.value, SPEED_M_S)
        for wanted_mm in (self.wanted_slow_mm, self.wanted_fast_mm):
            if wanted_mm is not None:
                _need(wanted_mm, WANTED_MM)


@dataclass(frozen=True, kw_only=True)
class StandingLimits:
    """Where the camera could be put, clear of the archer and of everybody's way.

    Attributes
    ----------
    nearest_m, furthest_m
        Behind the nock at full draw.
    least_offset_m, most_offset_m
        To its right; both negative for the left. The line itself is hidden by the archer.
    """

    nearest_m: float
    furthest_m: float
    least_offset_m: float
    most_offset_m: float

    def __post_init__(self) -> None:
        for behind_m in (self.nearest_m, self.furthest_m):
            Standing(behind_m=behind_m, offset_m=0.0)
        for offset_m in (self.least_offset_m, self.most_offset_m):
            _need(offset_m, OFFSET_M)
        if self.nearest_m > self.furthest_m or self.least_offset_m > self.most_offset_m:
            raise InputError("plan.limits_reversed")


@dataclass(frozen=True, kw_only=True)
class SwingPlan:
    """What the film would tell of one kind of swing.

    Attributes
    ----------
    expected_hz
        Frequency it was planned for.
    smallest_mm
        Smallest swing across, zero to peak at the nock, that is found in 95 of 100 flights.
    wanted_mm
        What was asked for.
    frequency_sigma_hz
        Standard error of the frequency of a swing as wide as wanted, from the clip alone.
    frequency_from_clip
        False where physics knows the frequency better than the clip would.
    """

    expected_hz: float
    smallest_mm: float
    wanted_mm: float
    frequency_sigma_hz: float
    frequency_from_clip: bool

    @property
    def enough(self) -> bool:
        """Whether the wanted swing would be seen."""
        return self.smallest_mm <= self.wanted_mm


@dataclass(frozen=True, kw_only=True)
class FilmingPlan:
    """What a film would be able to show.

    Attributes
    ----------
    standing
        Where the camera is.
    flight_s, frames, seen_frames
        Time of flight, frames in it, and those in which the nock is in the picture and clear.
    seen_to_m
        How far down the range the nock can be followed; 0 if it never can.
    nock_px, noise_px
        Diameter of the nock and standard error of its place, at release and at the target; the
        error is NaN where the nock cannot be followed.
    yaw_periods
        How many periods of rigid yaw are seen.
    bending_seen_hz
        Lowest and highest frequency at which the shaft's bending can appear at this frame rate.
    bending_passes_for
        Which swings it could be taken for.
    yaw, fast
        The two kinds of swing; None if refused.
    refused
        Why this film would show nothing, and what to change; None if it is worth filming.
    verdict
        What to know and to do, most important first; the caution for safety is always part of it.
    """

    standing: Standing
    flight_s: float
    frames: int
    seen_frames: int
    seen_to_m: float
    nock_px: tuple[float, float]
    noise_px: tuple[float, float]
    yaw_periods: float
    bending_seen_hz: tuple[float, float]
    bending_passes_for: tuple[Swing, ...]
    yaw: SwingPlan | None
    fast: SwingPlan | None
    refused: Message | None
    verdict: tuple[Message, ...] = ()
