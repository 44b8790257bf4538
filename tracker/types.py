"""The nouns of the tracker: clip, frame, track; and the error a person can mend.

Conventions, once for the whole project: the origin is the centre of the top-left pixel of the
upright picture, x grows to the right, y grows downwards; frames count from 0; time runs in
seconds from the first frame. Missing is NaN and stays in its row.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path
from typing import Literal

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]
ByteArray = npt.NDArray[np.uint8]
BoolArray = npt.NDArray[np.bool_]

Value = str | int | float
"""What a message can carry."""

CaptureSource = Literal["frame times", "metadata", "person", "unknown"]
"""Who vouches for the rate at which the sensor took the frames."""

Progress = Callable[[str, float], None]
"""Called with the stage in progress (a word) and the share of it that is done, 0 to 1."""


@dataclass(frozen=True, kw_only=False)
class Message:
    """Something to tell a person, in no language yet.

    `ui.words` turns it into a sentence; the templates live in `ui/words/<language>/`, so that
    another language is another folder and no sentence stands in the code.

    Attributes
    ----------
    key
        ``area.name``, for example ``tracker.no_video``.
    values
        What the template needs, by name: numbers in the unit that the name ends in, or text.
    """

    key: str
    values: Mapping[str, Value] = field(default_factory=dict)

    def __str__(self) -> str:
        """Show key and values, for logs and tests."""
        return " ".join([self.key, *(f"{name}={value}" for name, value in self.values.items())])


def message(key: str, /, **values: Value) -> Message:
    """Make a `Message` from its key and its values."""
    return Message(key, values)


class InputError(Exception):
    """Something a person can put right; the message says what was found, needed and to be done.

    Parameters
    ----------
    key
        Of the message's template.
    values
        What the template needs.
    """

    def __init__(self, key: str, /, **values: Value) -> None:
        self.message = Message(key, values)
        super().__init__(str(self.message))


def frozen_array(values: npt.ArrayLike, shape: tuple[int | None, ...], name: str) -> FloatArray:
    """Copy `values` into a read-only float array and check its shape in one place.

    Parameters
    ----------
    values
        Anything numpy turns into an array of floats.
    shape
        Wanted shape; None where any length will do.
    name
        What the message calls it.

    Returns
    -------
    numpy.ndarray
        Read-only copy.

    Raises
    ------
    ValueError
        If the shape differs.
    """
    array = np.array(values, dtype=np.float64)
    if array.ndim != len(shape) or any(
        want is not None and have != want for have, want in zip(array.shape, shape, strict=True)
    ):
        raise ValueError(f"{name} has shape {array.shape}, needed {shape}")
    array.setflags(write=False)
    return array


@dataclass(frozen=True, kw_only=True, eq=False)
class Frame:
    """One decoded picture.

    Attributes
    ----------
    index
        Number of the frame in decoding order of presentation, from 0.
    container_time_s
        Presentation time by the container's own clock, from the first frame, as the file rounds
        it; `Clip.container_times_s` has it without the rounding where all times are even.
    luma
        (height, width) brightness, 0 to 255, upright (rotation tag applied), read-only.
    """

    index: int
    container_time_s: float
    luma: ByteArray


@dataclass(frozen=True, kw_only=True, eq=False)
class Clip:
    """What is known of a film file after it was decoded.

    Attributes
    ----------
    path, sha256
        Where it was read and the hash of its content.
    container, codec
        Short names as the decoding library gives them.
    width, height
        Of the upright picture, in pixels.
    rotation_deg
        The rotation that was applied to make it upright, clockwise.
    bit_depth
        Bits of brightness in the file; frames are handed out with 8.
    declared_frames
        What the container claims to hold, None if it makes no claim.
    container_times_s
        (n,) presentation times by the container's clock, from the first frame; without the
        clock's rounding where all of them agree with an even grid (`tracker.even_times`).
    container_hz
        Rate of those times, from their median step; None for fewer than two frames.
    capture_hz
        Rate at which the sensor took the frames; None if nobody vouches for one.
    capture_from
        Who vouches for `capture_hz`.
    notes
        For the person: frames missing, frames doubled, a rate that looks stretched.
    """

    path: Path
    sha256: str
    container: str
    codec: str
    width: int
    height: int
    rotation_deg: int
    bit_depth: int
    declared_frames: int | None
    container_times_s: FloatArray
    container_hz: Fraction | None
    capture_hz: Fraction | None
    capture_from: CaptureSource
    notes: tuple[Message, ...] = ()

    def __post_init__(self) -> None:
        times = frozen_array(self.container_times_s, (None,), "container_times_s")
        object.__setattr__(self, "container_times_s", times)

    @property
    def frames(self) -> int:
        """How many frames were decoded."""
        return len(self.container_times_s)

    @property
    def stretch(self) -> float | None:
        """Seconds of world per second of container: 1 where the file plays at true speed."""
        if self.container_hz is None or self.capture_hz is None:
            return None
        return float(self.container_hz / self.capture_hz)

    @property
    def times_s(self) -> FloatArray | None:
        """(n,) true times since the first frame; None while the capture rate is unknown."""
        return None if self.stretch is None else self.container_times_s * self.stretch


@dataclass(frozen=True, kw_only=True)
class Click:
    """A person's word for where the nock is.

    Attributes
    ----------
    frame
        Frame number from 0.
    x_px, y_px
        Place in the upright picture.
    """

    frame: int
    x_px: float
    y_px: float


SURELY_AN_ARROW = 0.95
"""Confidence from which a path is taken for the arrow's (chosen here). Of 200 hard films' paths 28
are less sure, the two that were something else's among them; of 200 clear ones' 3."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Track:
    """Path of the nock through one flight, one row for every decoded frame of the clip.

    Attributes
    ----------
    time_s
        (n,) true seconds from the clip's first frame; the container's seconds while nobody vouches
        for the capture rate (`Clip.capture_hz` is None).
    xy_px
        (n, 2) nock in the coordinates of frame `reference_frame`, camera shake removed; NaN rows
        where it was not seen.
    sigma_px
        (n, 2) standard error of `xy_px`, NaN where that is.
    shake_px
        (n, 2) the removed motion: in the raw picture the nock stands at `xy_px + shake_px`; nought
        long before and after the flight, where it was not measured.
    tail_px
        (n,) apparent diameter of the nock, NaN where not seen.
    reference_frame
        The frame whose coordinates are used.
    first_frame, last_frame
        First and last frame in which the nock was seen flying.
    release_s, impact_s
        True seconds from the first frame at which the arrow left and struck; None if not seen.
    release_sigma_s, impact_sigma_s
        Their standard errors.
    found_by
        Who found the arrow.
    confidence
        0 to 1, how sure that this path is the arrow's.
    notes
        For the person.
    """

    time_s: FloatArray
    xy_px: FloatArray
    sigma_px: FloatArray
    shake_px: FloatArray
    tail_px: FloatArray
    reference_frame: int
    first_frame: int
    last_frame: int
    release_s: float | None
    impact_s: float | None
    release_sigma_s: float | None
    impact_sigma_s: float | None
    found_by: Literal["itself", "click"]
    confidence: float
    notes: tuple[Message, ...] = field(default=())

    def __post_init__(self) -> None:
        n = len(self.time_s)
        for name, shape in (
            ("time_s", (n,)),
            ("xy_px", (n, 2)),
            ("sigma_px", (n, 2)),
            ("shake_px", (n, 2)),
            ("tail_px", (n,)),
        ):
            object.__setattr__(self, name, frozen_array(getattr(self, name), shape, name))

    @property
    def seen(self) -> npt.NDArray[np.bool_]:
        """(n,) true where the nock was seen."""
        return np.asarray(np.isfinite(self.xy_px).all(axis=1), dtype=np.bool_)

    @property
    def in_doubt(self) -> bool:
        """Whether this may be something else's path, and no person says that it is not."""
        return self.found_by == "itself" and self.confidence < SURELY_AN_ARROW


@dataclass(frozen=True, kw_only=True)
class Lost:
    """Nature's answer that no flight could be followed.

    Attributes
    ----------
    reason
        What was looked for, what was found, what to film or click instead.
    """

    reason: Message


@dataclass(frozen=True, kw_only=True, eq=False)
class Followed:
    """What the tracker makes of a file.

    Attributes
    ----------
    clip
        The file.
    flights
        One `Track` for every flight found, in order of release; empty if none.
    lost
        Why there is no flight, else None.
    plate
        (height, width) the scene without the arrow, as grey picture in the coordinates of the
        track; None if nothing was decoded.
    """

    clip: Clip
    flights: tuple[Track, ...]
    lost: Lost | None
    plate: ByteArray | None
