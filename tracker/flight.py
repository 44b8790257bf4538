"""One stretch of film around a likely release goes in, the flight in it comes out, or nothing."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np

from tracker.candidates import (
    Candidates,
    Picture,
    difference,
    find_candidates,
    in_reference,
    joined,
    make_plate,
    reduced,
)
from tracker.path import Guess, Sky, search
from tracker.stabilise import CameraMotion, Scenery
from tracker.types import ByteArray, Click, FloatArray, Frame, Message, Track

Fetch = Callable[[int, int], Iterator[Frame]]
"""Gives frames first to last, both included, in order."""

FEWEST_FRAMES = 16
"""Below this a clip cannot hold a flight that tells anything."""

SMALL_SIDE_PX = 1100
"""Pictures with a longer side than this are searched at half size."""

CERTAIN = 120.0
"""Log-likelihood ratio from which a path is called an arrow's (chosen here)."""

TAUS_TRUE_S = (0.008, 0.16)
"""Camera distance over arrow speed, from 0.5 m at 65 m/s to 8 m at 50 m/s."""

SLOWEST_RATIO = 32
"""Slow motion may be stored this many times stretched."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Window:
    """A stretch of film to be searched.

    Attributes
    ----------
    first
        Number of its first frame.
    release
        Frame of the likely release.
    times_s
        (n,) container times of its frames.
    stretch
        Seconds of world per second of container; None if unknown.
    """

    first: int
    release: int
    times_s: FloatArray
    stretch: float | None

    @property
    def step_s(self) -> float:
        """Usual time between frames, container seconds."""
        return float(np.median(np.diff(self.times_s)))


@dataclass(frozen=True, kw_only=True, eq=False)
class FoundFlight:
    """A flight in the frames of its window.

    Attributes
    ----------
    first
        Number of the window's first frame.
    xy_px, sigma_px, shake_px
        (n, 2) as in `Track`, one row a frame of the window.
    tail_px
        (n,)
    reference_frame
        Whose coordinates are used.
    release_s, impact_s, release_sigma_s, impact_sigma_s
        Container seconds.
    confidence
        0 to 1.
    plate
        Scene without the arrow.
    notes
        For the person.
    """

    first: int
    xy_px: FloatArray
    sigma_px: FloatArray
    shake_px: FloatArray
    tail_px: FloatArray
    reference_frame: int
    release_s: float | None
    impact_s: float | None
    release_sigma_s: float | None
    impact_sigma_s: float | None
    confidence: float
    plate: ByteArray
    notes: tuple[Message, ...]

    @property
    def first_frame(self) -> int:
        """First frame in which the nock was seen flying."""
        return self.first + int(np.nonzero(np.isfinite(self.xy_px[:, 0]))[0][0])

    @property
    def last_frame(self) -> int:
        """Last frame in which the nock was seen flying."""
        return self.first + int(np.nonzero(np.isfinite(self.xy_px[:, 0]))[0][-1])

    def track(
        self, time_s: FloatArray, stretch: float | None, found_by: Literal["itself", "click"]
    ) -> Track:
        """Lay the flight into the rows of the whole clip."""
        n, rows = len(time_s), slice(self.first, self.first + len(self.xy_px))

        def spread(part: FloatArray, fill: float = np.nan) -> FloatArray:
            whole = np.full((n, *part.shape[1:]), fill)
            whole[rows] = part
            return whole

        scale = 1.0 if stretch is None else stretch

        def true(seconds: float | None) -> float | None:
            return None if seconds is None else seconds * scale

        return Track(
            time_s=time_s,
            xy_px=spread(self.xy_px),
            sigma_px=spread(self.sigma_px),
            shake_px=spread(self.shake_px, 0.0),
            tail_px=spread(self.tail_px),
            reference_frame=self.reference_frame,
            first_frame=self.first_frame,
            last_frame=self.last_frame,
            release_s=true(self.release_s),
            impact_s=true(self.impact_s),
            release_sigma_s=true(self.release_sigma_s),
            impact_sigma_s=true(self.impact_sigma_s),
            found_by=found_by,
            confidence=self.confidence,
            notes=self.notes,
        )


def follow_window(
    window: Window, frames: Iterator[Frame], click: Click | None
) -> FoundFlight | None:
    """Search one stretch of film for a flight and place the nock in each of its frames.

    Parameters
    ----------
    window
        What is to be searched.
    frames
        Its frames.
    click
        Where the nock is in one frame, if a person says so.

    Returns
    -------
    FoundFlight or None
        None if no path there is an arrow's.
    """
    scene = look(window, list(frames))
    guesses = search(scene.candidates, sky_of(window, scene), scene.shape, np.random.default_rng(1))
    del click
    if not guesses or guesses[0].score < CERTAIN:
        return None
    return _placed(window, scene, guesses[0])


@dataclass(frozen=True, kw_only=True, eq=False)
class Seen:
    """What was seen in a window before anything is concluded.

    Attributes
    ----------
    frames
        Its frames.
    motions
        Camera motion in each.
    candidates
        Of the frames that may show a flight.
    reference_frame
        Number of the frame whose coordinates are used.
    reduce
        How many times smaller the searched pictures were.
    plate
        (h, w) full-size scene without the arrow.
    """

    frames: list[Frame]
    motions: list[CameraMotion]
    candidates: Candidates
    reference_frame: int
    reduce: int
    plate: ByteArray

    @property
    def shape(self) -> tuple[int, int]:
        """(height, width) of the full picture."""
        h, w = self.frames[0].luma.shape
        return h, w


def look(window: Window, frames: list[Frame]) -> Seen:
    """Stabilise the frames and find the candidates in those that may show a flight."""
    reference = max(0, window.release - window.first - 3)
    scenery = Scenery(frames[reference].luma)
    motions = [scenery.motion(f.luma) for f in frames]
    reduce = 2 if max(frames[0].luma.shape) > SMALL_SIDE_PX else 1

    def still(k: int) -> Picture:
        return in_reference(reduced(frames[k].luma, reduce), motions[k], reduce)

    flown = range(max(0, reference - 2), len(frames))
    before = list(range(0, reference + 1, max(1, (reference + 1) // 15)))
    during = list(range(reference + 3, len(frames), max(1, (len(frames) - reference) // 15)))
    plate = make_plate([still(k) for k in before], [still(k) for k in during])
    corner = np.array([[0.0, 0.0], [frames[0].luma.shape[1], frames[0].luma.shape[0]]])
    parts = []
    for k in flown:
        uncovered = np.abs(motions[k].to_raw(corner) - corner).max()
        margin = 3 + int(np.ceil(uncovered / reduce))
        parts.append(find_candidates(difference(still(k), plate, margin), frames[k].index, reduce))
    full = in_reference(frames[reference].luma.astype(np.float32), motions[reference], 1)
    return Seen(
        frames=frames,
        motions=motions,
        candidates=joined(parts),
        reference_frame=frames[reference].index,
        reduce=reduce,
        plate=np.clip(np.round(full), 0, 255).astype(np.uint8),
    )


def sky_of(window: Window, scene: Seen) -> Sky:
    """Bound what may have flown: camera distance, speed, lens, swing."""
    step = window.step_s
    release = float(window.times_s[window.release - window.first])
    long_side = max(scene.shape)
    # F / v from 0.3 picture widths at 110 m/s to 5 at 30 m/s, times g / 2
    fall = (4.9 * 0.3 * long_side / 110, 4.9 * 5.0 * long_side / 30)
    if window.stretch is None:
        taus = np.geomspace(1.5 * step, 150 * step, 22)
        fall = (fall[0] / SLOWEST_RATIO, fall[1])
    else:
        taus = np.geomspace(TAUS_TRUE_S[0], TAUS_TRUE_S[1], 16) / window.stretch
        fall = (fall[0] * window.stretch, fall[1] * window.stretch)
    return Sky(
        time_s=window.times_s,
        first_frame=window.first,
        singular_s=release - taus,
        fall_px_s=fall,
        swing_px=0.012 * long_side,
        swing_at_s=0.03 / (window.stretch or 1 / (240 * step)),
        spot_px=0.75 * scene.reduce,
    )


def _placed(window: Window, scene: Seen, guess: Guess) -> FoundFlight:
    """Take the candidates of a path for the nock."""
    n = len(scene.frames)
    xy, sigma, tail = np.full((n, 2), np.nan), np.full((n, 2), np.nan), np.full(n, np.nan)
    rows = np.arange(guess.first, guess.last + 1)
    rows = rows[guess.chosen[rows] >= 0]
    chosen = guess.chosen[rows]
    xy[rows] = scene.candidates.xy_px[chosen]
    size = scene.candidates.size_px[chosen]
    sigma[rows] = (1.6 * size / np.maximum(scene.candidates.snr[chosen], 1))[:, None]
    tail[rows] = 2 * size
    still = np.array([m.to_raw(xy[k : k + 1])[0] for k, m in enumerate(scene.motions)])
    centre = np.array([[scene.shape[1] / 2, scene.shape[0] / 2]])
    moved = np.array([m.to_raw(centre)[0] - centre[0] for m in scene.motions])
    shake = np.where(np.isfinite(still), still - xy, moved)
    step = window.step_s
    return FoundFlight(
        first=window.first,
        xy_px=xy,
        sigma_px=sigma,
        shake_px=shake,
        tail_px=tail,
        reference_frame=scene.reference_frame,
        release_s=float(window.times_s[rows[0]] - step / 2),
        impact_s=float(window.times_s[rows[-1]] + step / 2),
        release_sigma_s=step,
        impact_sigma_s=step,
        confidence=float(1 - np.exp(-guess.score / 60)),
        plate=scene.plate,
        notes=(),
    )
