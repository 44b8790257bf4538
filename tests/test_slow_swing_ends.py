"""A swing of which only a few places near the bow speak is not believed surely."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from classify import slow_swing
from classify.judgement import measure
from classify.types import Unread
from fixtures.misfits import random_plan
from fixtures.simulate import random_tracking, simulate_track
from fixtures.train_labels import clip_of
from fixtures.truth import Truth
from tracker.types import Clip, Track

THRESHOLD_MM = 4.5
LOST_AFTER_S = 0.15
"""A dull nock is hardly followed for longer."""


def flight(seed: int, *, pushed_sigmas: float) -> tuple[Track, Clip, Truth]:
    """Simulate a clean flight whose first three places lie to one side, lost half way."""
    rng = np.random.default_rng([44, seed])
    plan = random_plan(rng, "hard", disturbances=())
    track, truth = simulate_track(plan, rng=rng, tracking=random_tracking(rng, hard=True))
    seen = np.flatnonzero(track.seen)
    seen = seen[: round(LOST_AFTER_S * float(plan.camera.capture_hz))]
    xy, sigma, tail = (np.full_like(part, np.nan) for part in _parts(track))
    xy[seen], sigma[seen], tail[seen] = (part[seen] for part in _parts(track))
    xy[seen[:3], 0] += pushed_sigmas * sigma[seen[:3], 0]
    cut = replace(track, xy_px=xy, sigma_px=sigma, tail_px=tail, last_frame=int(seen[-1]))
    return cut, clip_of(plan, truth), truth


def _parts(track: Track) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    return track.xy_px, track.sigma_px, track.tail_px


def chance(seed: int, *, pushed_sigmas: float) -> float:
    """How likely fishtailing is thought to be."""
    track, clip, truth = flight(seed, pushed_sigmas=pushed_sigmas)
    measured = measure(track, clip=clip, known=truth.known)
    assert not isinstance(measured, Unread)
    assert measured.slow is not None
    return measured.slow.chance_above(0, THRESHOLD_MM)


@pytest.mark.parametrize("seed", [0, 11, 13])
def test_three_false_places_make_no_sure_swing(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """The whole flight believes them, the rest of it does not; true ones cost nothing."""
    averaged = [chance(seed, pushed_sigmas=pushed) for pushed in (0.0, 15.0)]
    monkeypatch.setattr(slow_swing, "END_WEIGHT", 0.0)
    whole = [chance(seed, pushed_sigmas=pushed) for pushed in (0.0, 15.0)]
    assert whole[1] > 0.75
    assert averaged[1] < min(whole[1] - 0.1, 0.9)
    assert averaged[0] == pytest.approx(whole[0], abs=0.1)
