"""A pitch is told from the fall so much the better, the better the fall is known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from classify.judgement import Measured, measure
from classify.slow_posterior import SlowSwing
from classify.types import Known
from tests.flight_clips import clip_of, face_px_of
from tests.simulated_tracks import Shot, fly

KNOWN = Known(face_diameter_m=0.4, distance_m=18.72, field_of_view_deg=65.2, capture_hz=240)
UP_DOWN = 1
THRESHOLD_MM = 4.8
"""0.6 degrees at a nock 0.46 m behind the balance point."""

WIDE = [
    Shot(yaw_m=(0.0, 0.012), yaw_hz=hz, yaw_phase_rad=(0.0, phase), noise_px=0.2)
    for hz in (2.0, 2.6) for phase in (0.0, 1.0, 2.0)
]  # fmt: skip
STILL = [replace(shot, yaw_m=(0.0, 0.0)) for shot in WIDE]


def slow_swings(shots: list[Shot], *, impact: bool, seed: int) -> list[SlowSwing]:
    """Measure flights; a track whose impact was not seen leaves the speed to experience."""
    rng = np.random.default_rng(seed)
    found = []
    for shot in shots:
        track, face = fly(shot, rng), face_px_of(shot, 0.4, rng)
        if not impact:
            track = replace(track, impact_s=None, impact_sigma_s=None)
        measured = measure(track, clip=clip_of(track, 240), known=KNOWN, face_px=face)
        assert isinstance(measured, Measured)
        assert measured.slow is not None
        found.append(measured.slow)
    return found


@pytest.fixture(scope="module")
def wide() -> list[list[SlowSwing]]:
    """Six flights that pitch by 12 mm, impact seen and not."""
    return [slow_swings(WIDE, impact=impact, seed=6) for impact in (True, False)]


def test_an_impact_tells_a_pitch_from_a_faster_fall(wide: list[list[SlowSwing]]) -> None:
    """With the impact the flights are surer to pitch than without it, nearly every one."""
    told, untold = (
        np.array([one.chance_above(UP_DOWN, THRESHOLD_MM) for one in found]) for found in wide
    )
    assert np.mean(told > untold + 0.03) > 0.7, (told, untold)
    assert told.mean() > untold.mean() + 0.15, (told, untold)


def test_swings_lie_within_their_errors(wide: list[list[SlowSwing]]) -> None:
    """Of twelve pitches at most two are beyond two standard errors."""
    swings = np.array([one.swing_mm(UP_DOWN) for found in wide for one in found])
    off = (swings[:, 0] - 12.0) / swings[:, 1]
    assert np.sum(np.abs(off) > 2.0) <= 2, off


def test_an_impact_narrows_what_a_still_arrow_may_pitch() -> None:
    """Flights without pitch: none is made out of the better known fall, and less may hide."""
    told, untold = (slow_swings(STILL, impact=impact, seed=7) for impact in (True, False))
    limits = [np.mean([one.upper_mm(UP_DOWN) for one in found]) for found in (told, untold)]
    assert limits[0] < 0.8 * limits[1], limits
    assert max(one.chance_above(UP_DOWN, THRESHOLD_MM) for one in told) < 0.2
