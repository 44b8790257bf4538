"""Clips around simulated tracks, with the clock right or wrong; only the tests use it."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np

from classify.types import Estimate
from tests.simulated_tracks import Shot
from tracker.types import Clip, Track

ARROW_M = 0.72


def clip_of(track: Track, rate_hz: Fraction, *, vouched: bool = True) -> Clip:
    """Wrap a track's times in a clip; `vouched` for the capture rate or not."""
    return Clip(
        path=Path("flight.mp4"),
        sha256="",
        container="mp4",
        codec="h264",
        width=1920,
        height=1080,
        rotation_deg=0,
        bit_depth=8,
        declared_frames=None,
        container_times_s=np.arange(len(track.time_s)) / float(rate_hz),
        container_hz=rate_hz,
        capture_hz=rate_hz if vouched else None,
        capture_from="person" if vouched else "unknown",
    )


def with_clock(track: Track, factor: float) -> Track:
    """Stretch the claimed seconds of a track: 2 for a film said to be half as fast as it was."""

    def stretched(value: float | None) -> float | None:
        return None if value is None else value * factor

    return replace(
        track,
        time_s=track.time_s * factor,
        release_s=stretched(track.release_s),
        impact_s=stretched(track.impact_s),
        release_sigma_s=stretched(track.release_sigma_s),
        impact_sigma_s=stretched(track.impact_sigma_s),
    )


def face_px_of(shot: Shot, diameter_m: float, rng: np.random.Generator) -> Estimate:
    """Apparent diameter of a face where the arrow's point arrives."""
    depth = shot.camera_behind_m + shot.distance_m + ARROW_M
    sigma = 0.6
    return Estimate(value=shot.focal_px * diameter_m / depth + rng.normal(0, sigma), sigma=sigma)


def coach_distance_m(shot: Shot, rng: np.random.Generator) -> float:
    """Distance as paced out from a line the archer stands across."""
    return shot.distance_m + ARROW_M + rng.normal(0, 0.2)
