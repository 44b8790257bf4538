"""An arrow that stands in the target tells when it struck, though its nock was lost before that."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np
import pytest

from fixtures.evaluate import DIFFICULTIES, phone_coding
from fixtures.filmed import filmed
from fixtures.misfits import random_plan
from tracker.flight import SINKING_TRUE_S
from tracker.follow import follow
from tracker.footage import Footage
from tracker.landing import Landing
from tracker.standing import Aftermath, blur_for, gone
from tracker.types import FloatArray, Frame

WIDTH, HEIGHT, FRAMES, REFERENCE = 240, 180, 140, 20
FIRST, LAST, STRIKES = 30, 70, 84.3
"""Rows in which the nock is seen, and the moment, in frames, at which the arrow stops."""
DIAMETER_PX = 1.2
SHADE = 14.0
"""Grey levels by which the tail is darker than what lies behind it."""

Place = Callable[[float], FloatArray | None]
"""Where something is at a moment, in frames."""


def way(moment: FloatArray) -> FloatArray:
    """(n, 2) where the nock would be, slower and slower as it goes away."""
    since = moment - 10.0
    return np.stack([150.0 - 1400.0 / since, 60.0 + 700.0 / since + 0.25 * since], axis=-1)


def stops(moment: float) -> FloatArray:
    """Place of an arrow that strikes."""
    return way(np.array(min(moment, STRIKES)))


def filmed_spots(seed: int, *places: Place) -> Footage:
    """Film blurred dark spots before a still scene of uneven brightness, with noise."""
    rng = np.random.default_rng([31, seed])
    y, x = np.mgrid[:HEIGHT, :WIDTH]
    scene = 120 + 25 * np.sin(x / 9.0) + 20 * np.cos(y / 7.0 + x / 31.0)
    pictures = []
    for row in range(FRAMES):
        picture = scene + rng.normal(0, 1.5, scene.shape)
        for place in places:
            at = place(float(row)) if row > REFERENCE else None
            if at is not None:
                off = (x - at[0]) ** 2 + (y - at[1]) ** 2
                picture -= SHADE * np.exp(-off / (2 * 0.9**2))
        pictures.append(np.clip(picture, 0, 255).astype(np.uint8))

    def fetch(row: int) -> Iterator[Frame]:
        for k in range(row, FRAMES):
            yield Frame(index=k, container_time_s=k / 240, luma=pictures[k])

    return Footage(fetch, REFERENCE, FRAMES)


def struck(footage: Footage) -> Landing | None:
    """Ask when an arrow struck that was seen until `LAST`."""
    rows = np.arange(FRAMES, dtype=np.float64)
    path = way(rows + 15.0 * (rows < FIRST))
    seen = (rows >= FIRST) & (rows <= LAST)
    xy = np.where(seen[:, None], path, np.nan)
    after = Aftermath.of(footage, path, xy, DIAMETER_PX, FRAMES - 1)
    assert after is not None
    return after.impact(rows / 240, path, LAST)


def other(moment: float) -> FloatArray | None:
    """Place of something else that comes to stand near the path's end at that moment."""
    return stops(STRIKES) + np.array([4.6, 0.6]) if moment > STRIKES - 1 else None


@pytest.mark.parametrize("beside", [(), (other,)], ids=["alone", "with another"])
def test_impact_is_told_within_its_error(beside: tuple[Place, ...]) -> None:
    """Fourteen frames after the nock was last seen; the errors are told as large as they are."""
    found = [struck(filmed_spots(seed, stops, *beside)) for seed in range(8)]
    off = np.array([one.time_s * 240 - STRIKES for one in found if one is not None])
    sigma = np.array([one.sigma_s * 240 for one in found if one is not None])
    assert len(off) >= 4
    assert np.abs(off / sigma).max() < 3.0
    # it goes a quarter of a pixel a frame
    assert np.sqrt(np.mean(off**2)) < 5.0
    assert np.median(sigma) < 5.0


def ghost(moment: float) -> FloatArray | None:
    """Place of what compression leaves standing for a while where the arrow flew past."""
    return way(np.array(82.0)) if 82 <= moment < 104 else None


def lost(moment: float) -> FloatArray | None:
    """Place of an arrow that flies behind the target."""
    return way(np.array(moment)) if moment < STRIKES else None


@pytest.mark.parametrize(
    "places",
    [(lost,), (lambda moment: way(np.array(moment)),), (lost, ghost), ()],
    ids=["vanishes", "flies on", "ghost", "nothing"],
)
def test_nothing_is_made_up(places: tuple[Place, ...]) -> None:
    """Where nothing stands alone at the path's end, or what is there moves on or fades."""
    assert [struck(filmed_spots(seed, *places)) for seed in range(4)] == [None] * 4


def test_scenery_is_no_standing_arrow() -> None:
    """Where places stood still though nothing differs there, that is told; an arrow's are left."""
    rows = np.arange(FRAMES, dtype=np.float64)
    for seed in range(4):
        footage = filmed_spots(seed, stops)
        path = way(rows + 15.0 * (rows < FIRST))
        for end in (LAST, int(STRIKES)):
            xy = np.where(((rows >= FIRST) & (rows <= end))[:, None], path, np.nan)
            since = gone(path, path[end], end + 1, blur_for(DIAMETER_PX))
            after = Aftermath.of(footage, path, xy, DIAMETER_PX, since + 12)
            assert after is not None
            assert after.nothing_at(xy, path[end], since) is (end == LAST)


@pytest.mark.long
@pytest.mark.parametrize("number", [35, 58])
def test_lost_nock_leaves_the_impact(number: int) -> None:
    """Of two compressed films: lost 17 frames before; held to have stopped 16 frames too early."""
    rng = np.random.default_rng([731, number, DIFFICULTIES.index("clear")])
    plan = random_plan(rng, "clear")
    coding = phone_coding(plan, 0.12)
    with filmed(plan, seed=int(rng.integers(2**31)), coding=coding) as (path, truth):
        track = follow(path, capture_hz=plan.camera.capture_hz).flights[0]
    assert track.impact_s is not None
    assert track.impact_sigma_s is not None
    assert truth.impact_s is not None
    off = track.impact_s - truth.impact_s
    assert abs(off) < 3 * np.hypot(track.impact_sigma_s, SINKING_TRUE_S)
    assert abs(off) < 0.03
