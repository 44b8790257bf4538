"""Slow motion as phones hand it on: usual speed before and after, slow in between.

Such a film plays evenly, but outside its slow part only every eighth of the frames is left. The
clock of the slow part is the one that counts; what was left out must neither be taken for a release
or an impact nor lend the flight wrong places. That phones hand films on so is common practice.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest

from fixtures.render import render
from fixtures.truth import Truth
from tests.tracked_films import HZ, right, small_flight, written
from tracker.follow import follow
from tracker.types import ByteArray

USUAL = 8
"""Frames of which one is left where the film plays at usual speed: 240 a second become 30."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Filmed:
    """A flight with its truth.

    Attributes
    ----------
    frames
        All that the phone took.
    truth
        Of them.
    release, impact
        Frames about which they lie.
    """

    frames: list[ByteArray]
    truth: Truth
    release: int
    impact: int


@pytest.fixture(scope="module")
def filmed() -> Filmed:
    """Render a flight with enough before and after it to ramp in."""
    plan = small_flight()
    plan = replace(plan, scene=replace(plan.scene, pre_roll_s=0.5, post_roll_s=0.3))
    rendered = render(plan, seed=12)
    truth = rendered.truth
    ends = (truth.release_s, truth.impact_s)
    release, impact = (int(np.searchsorted(truth.time_s, end)) for end in ends)
    return Filmed(frames=list(rendered.frames()), truth=truth, release=release, impact=impact)


def left(filmed: Filmed, slow: tuple[int, int]) -> np.ndarray:
    """List the frames that are left where only some play slowly."""
    n = len(filmed.frames)
    before, after = np.arange(0, slow[0], USUAL), np.arange(slow[1], n, USUAL)
    return np.concatenate([before, np.arange(*slow), after])


@pytest.mark.parametrize(
    ("from_release", "from_impact"),
    [
        pytest.param(-60, 72, id="all of the flight is slow"),
        pytest.param(
            -60,
            8,
            id="ends as the arrow strikes",
            marks=[pytest.mark.long, pytest.mark.endurance],
        ),
        pytest.param(4, 72, id="begins late"),
        pytest.param(-60, -14, id="ends early"),
    ],
)
def test_the_slow_part_is_followed(
    filmed: Filmed, from_release: int, from_impact: int, tmp_path: Path
) -> None:
    """The arrow is found, in the right frames, and nothing is made up where frames are left out."""
    slow = filmed.release + from_release, filmed.impact + from_impact
    kept = left(filmed, slow)
    found = follow(written(tmp_path, (filmed.frames[k] for k in kept)), capture_hz=HZ)
    assert len(found.flights) == 1
    track = found.flights[0]
    assert right(track, filmed.truth.xy_px[kept])
    seen = kept[track.seen]
    whole = np.arange(max(slow[0], filmed.release), min(slow[1], filmed.impact))
    assert np.isin(whole, seen).mean() > 0.7
    # a release is that of the film's own clock; an impact in what was left out would be wrong by
    # more than any error tells, and is not claimed
    if track.release_s is not None:
        due = float(np.searchsorted(kept, filmed.release)) / float(HZ)
        assert track.release_s == pytest.approx(due, abs=2.5 / float(HZ))
    if track.impact_s is not None:
        assert filmed.impact <= slow[1]
        due = float(np.searchsorted(kept, filmed.impact)) / float(HZ)
        assert track.impact_s == pytest.approx(due, abs=2.5 / float(HZ))
