"""One stretch of film around a likely release goes in, the flight in it comes out, or nothing."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np

from tracker.candidates import (
    SIZES_PX,
    Candidates,
    Picture,
    difference,
    find_candidates,
    in_reference,
    joined,
    make_plate,
    reduced,
)
from tracker.footage import Footage
from tracker.landing import landing
from tracker.path import Guess, Sky, search
from tracker.settle import GRAVITY, NOCK_M, Settled, settle
from tracker.types import ByteArray, Click, FloatArray, Frame, Message, Track

Fetch = Callable[[int, int], Iterator[Frame]]
"""Gives frames first to last, both included, in order."""

FEWEST_FRAMES = 16
"""Below this a clip cannot hold a flight that tells anything."""

SEARCHED_SIDE_PX = 640
"""Pictures are searched for a path at about this size."""

FEWEST_SEEN = 12
"""Frames in which the nock must be seen."""

BLACK, BLACK_IS_BOW = 30.0, 0.5
"""Grey level below which what flies is as likely a limb of the bow, and the share that is left."""

SURE, CLAIM = 0.8, 0.5
"""Confidence at which other paths are not tried, and below which none is claimed (chosen here)."""

SEARCH_TRUE_S = 0.22
"""After a release so much is searched for a path; further on it is only followed."""

STROKE_TRUE_S = 0.017
"""From the fingers' release to the string's: twice 0.48 m at 56 m/s."""

SPOT_M = 0.007
"""Spread of the spot that nock, vanes and shaft together make (chosen here)."""

STROKE_SIGMA_TRUE_S = 0.003
"""Draw lengths and speeds differ."""

LATEST_TRUE_S = 0.09
"""After this the arrow must have come out from before the archer (chosen here)."""

TAUS_TRUE_S = (0.012, 0.16)
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

    @property
    def true_per_clock(self) -> float:
        """Seconds of world per second of container; as if at 240 frames a second if unknown.

        The guess sets only how far is searched, never a time that is reported.
        """
        return self.stretch if self.stretch is not None else 1 / (240 * self.step_s)


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
    scene = look(window, frames)
    sky = sky_of(window, scene)
    del click
    best: tuple[float, Settled] | None = None
    for guess in search(scene.candidates, sky, scene.shape, np.random.default_rng(1)):
        settled = _settled(window, scene, sky, guess)
        if settled is None:
            continue
        sure = confidence(window, settled)
        if best is None or sure > best[0]:
            best = sure, settled
        if sure > SURE:
            break
    if best is None or best[0] < CLAIM:
        return None
    return _found(window, scene, *best)


def _settled(window: Window, scene: Seen, sky: Sky, guess: Guess) -> Settled | None:
    """Place the nock along one guess."""
    n = scene.footage.count
    xy, size = np.full((n, 2), np.nan), np.full(n, np.nan)
    rows = np.nonzero(guess.chosen >= 0)[0]
    rows = rows[(rows >= guess.first) & (rows <= guess.last)]
    xy[rows] = scene.candidates.xy_px[guess.chosen[rows]]
    size[rows] = scene.candidates.size_px[guess.chosen[rows]]
    return settle(scene.footage, sky, guess, xy, size, window.true_per_clock)


def confidence(window: Window, settled: Settled) -> float:
    """Weigh how sure it is that a settled path is an arrow's, 0 to 1.

    An arrow is seen in most frames between its first and last, comes into sight soon after the
    release, explains what changed around it, keeps its brightness while it shrinks as one over T,
    and falls as fast as its size says: fall and size both grow with focal length over speed.
    """
    rows = np.nonzero(np.isfinite(settled.xy_px[:, 0]))[0]
    if len(rows) < FEWEST_SEEN:
        return 0.0
    depth = window.times_s[rows] - settled.path.singular_s
    share = len(rows) / (rows[-1] - rows[0] + 1)
    amplitude = settled.amplitude[rows]
    middle = float(np.median(amplitude))
    scatter = float(1.4826 * np.median(np.abs(amplitude - middle))) / max(middle, 1e-3)
    growth = float(np.polyfit(np.log(depth), np.log(np.maximum(amplitude, 0.05)), 1)[0])
    total = float(np.sqrt(np.sum(settled.contrast[rows] ** 2)))
    explained = float(np.median(settled.explained[rows]))
    late_s = (rows[0] + window.first - window.release) * window.step_s * window.true_per_clock
    sure = (
        np.clip((share - 0.2) / 0.4, 0, 1)
        * np.clip((1.0 - scatter) / 0.4, 0, 1)
        * np.clip((1.0 - abs(growth)) / 0.4, 0, 1)
        * np.clip((total - 25) / 40, 0, 1)
        * np.clip((len(rows) - 8) / 16, 0, 1)
        * np.clip((0.09 - late_s) / 0.03, 0, 1)
        * np.clip((explained - 0.42) / 0.15, 0, 1)
        * (BLACK_IS_BOW if settled.look.nock < BLACK else 1.0)
    )
    if window.stretch is not None:
        fall = settled.path.y[2] / (0.5 * GRAVITY * window.stretch**2)
        unlike = abs(np.log(settled.look.size_px_s / max(NOCK_M * fall, 1e-9)))
        sure *= np.clip((1.0 - unlike) / 0.4, 0, 1)
    return float(sure)


@dataclass(frozen=True, kw_only=True, eq=False)
class Seen:
    """What was seen in a window before anything is concluded.

    Attributes
    ----------
    footage
        Its frames and the camera's motion.
    candidates
        Of the frames that may show a flight.
    reference_frame
        Number of the frame whose coordinates are used.
    reduce
        How many times smaller the searched pictures were.
    plate
        (h, w) full-size scene without the arrow.
    """

    footage: Footage
    candidates: Candidates
    reference_frame: int
    reduce: int
    plate: ByteArray

    @property
    def shape(self) -> tuple[int, int]:
        """(height, width) of the full picture."""
        return self.footage.height, self.footage.width


def look(window: Window, frames: Iterator[Frame]) -> Seen:
    """Stabilise the frames and find the candidates in those that may show a flight."""
    footage = Footage(frames, max(0, window.release - window.first - 2), len(window.times_s))
    reference = footage.reference
    reduce = max(1, round(max(footage.height, footage.width) / SEARCHED_SIDE_PX))

    def still(k: int) -> Picture:
        return in_reference(reduced(footage.luma(k), reduce), footage.motion(k), reduce)

    true_step = window.step_s * window.true_per_clock
    searched = window.release - window.first + round(SEARCH_TRUE_S / true_step)
    flown = range(reference + 1, min(footage.count, searched))
    before = list(range(0, reference + 1, max(1, (reference + 1) // 15)))
    during = list(range(reference + 3, flown.stop, max(1, (flown.stop - reference) // 12)))
    plate = make_plate([still(k) for k in before], [still(k) for k in during])
    parts = []
    for k in flown:
        margin = 3 + int(np.ceil(footage.moved_px(k) / reduce))
        excess = difference(still(k), plate, margin)
        parts.append(find_candidates(excess, window.first + k, reduce))
    return Seen(
        footage=footage,
        candidates=joined(parts),
        reference_frame=window.first + reference,
        reduce=reduce,
        plate=footage.reference_luma,
    )


def sky_of(window: Window, scene: Seen) -> Sky:
    """Bound what may have flown: camera distance, speed, lens, swing."""
    step = window.step_s
    row = window.release - window.first
    release = float(window.times_s[row]) + STROKE_TRUE_S / window.true_per_clock
    late = row + round(LATEST_TRUE_S / window.true_per_clock / step)
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
        latest_start=late,
        fall_px_s=fall,
        swing_px=0.012 * long_side,
        swing_at_s=0.03 / window.true_per_clock,
        spot_px=0.75 * scene.reduce,
        size_per_fall_s2=None
        if window.stretch is None
        else SPOT_M / (0.5 * GRAVITY * window.stretch**2),
        sizes_px=(SIZES_PX[0] * scene.reduce, SIZES_PX[-1] * scene.reduce),
    )


def _found(window: Window, scene: Seen, sure: float, settled: Settled) -> FoundFlight:
    """Put a settled path into the form of a flight."""
    xy, sigma, size = settled.xy_px, settled.sigma_px, settled.size_px
    end = landing(window.times_s, xy, sigma, settled.look.size_px_s / settled.depth_s)
    if end is not None:
        xy, sigma, size = xy.copy(), sigma.copy(), size.copy()
        for part in (xy, sigma, size):
            part[end.row + 1 :] = np.nan
    rows = np.nonzero(np.isfinite(xy[:, 0]))[0]
    shake = np.zeros_like(xy)
    centre = np.array([[scene.shape[1] / 2, scene.shape[0] / 2]])
    for k in range(int(rows[-1]) + 1):
        at = xy[k : k + 1] if np.isfinite(xy[k, 0]) else centre
        shake[k] = (scene.footage.motion(k).to_raw(at) - at)[0]
    step = window.step_s
    left = float(window.times_s[window.release - window.first])
    left += STROKE_TRUE_S / window.true_per_clock
    return FoundFlight(
        first=window.first,
        xy_px=xy,
        sigma_px=sigma,
        shake_px=shake,
        tail_px=size,
        reference_frame=scene.reference_frame,
        release_s=left,
        impact_s=None if end is None else end.time_s,
        release_sigma_s=float(np.hypot(step / 2, STROKE_SIGMA_TRUE_S / window.true_per_clock)),
        impact_sigma_s=None if end is None else end.sigma_s,
        confidence=sure,
        plate=scene.plate,
        notes=(),
    )
