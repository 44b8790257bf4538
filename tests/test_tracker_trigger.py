"""The moment of release is told from the light's flicker and from a lone frame that differs."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest

from fixtures.evaluate import BITS_PER_PIXEL, DIFFICULTIES, phone_coding
from fixtures.filmed import filmed
from fixtures.misfits import random_plan
from tracker import follow as follow_module
from tracker.follow import follow
from tracker.path import QUICK, THOROUGH, Breadth
from tracker.trigger import LESS_SUDDEN, Activity, likely_releases, suddenness
from ui.demo_clips import demo_clips

RELEASE = 60
FRAMES = 110


def frames(rng: np.random.Generator, *, flicker: float, jump_at: int | None) -> list[np.ndarray]:
    """Draw a still scene in which a small part begins to move at the release."""
    scene = rng.uniform(60, 180, (90, 160))
    drawn = []
    for k in range(FRAMES):
        light = 1 + flicker * np.sin(2 * np.pi * 0.42 * k) + (0.1 if k == jump_at else 0.0)
        luma = scene * light + rng.normal(0, 1.0, scene.shape)
        if k >= RELEASE:
            x = 40 + 2 * (k - RELEASE)
            luma[30:46, x : x + 10] -= 14
        drawn.append(np.clip(np.rint(luma), 0, 255).astype(np.uint8))
    return drawn


def found(films: list[np.ndarray]) -> list[int]:
    """Likely releases of some frames."""
    activity = Activity()
    for luma in films:
        activity.add(luma)
    return releases(activity.change())


def releases(change: np.ndarray, **least: float) -> list[int]:
    """Likely releases of some changes."""
    return likely_releases(change, suddenness(change), **least)


def test_release_in_steady_light(rng: np.random.Generator) -> None:
    """The first likely moment is the one at which something begins to move."""
    assert abs(found(frames(rng, flicker=0.0, jump_at=None))[0] - RELEASE) <= 1


def test_release_under_flickering_lamps(rng: np.random.Generator) -> None:
    """Lamps that brighten and dim the whole picture by a twentieth hide no release."""
    assert abs(found(frames(rng, flicker=0.05, jump_at=None))[0] - RELEASE) <= 1


def test_a_brighter_frame_is_no_release(rng: np.random.Generator) -> None:
    """One frame that is a tenth brighter comes after the release, if at all."""
    assert abs(found(frames(rng, flicker=0.0, jump_at=30))[0] - RELEASE) <= 1


def test_an_archer_who_moves_just_before() -> None:
    """A tenth of a second before the release the archer may stir; both moments are told."""
    still, stir = [5.5] * 8, [9.1, 11.1, 13.2, 13.6, 15.4, 15.7, 14.8, 12.6, 10.7, 8.4]
    flight = [35.9, 41.8, 27.7, 19.5, 20.7, 20.6, 21.3, 19.4, 17.1, 14.1, 11.0, 11.8, 13.3, 13.8]
    moments = releases(np.array([0.0, *still, *stir, *flight]))
    assert any(abs(moment - 19) <= 1 for moment in moments)
    assert all(abs(a - b) > 6 for a in moments for b in moments if a is not b)


def test_less_sudden_moments_come_after_the_others() -> None:
    """In a hand that shakes a release hardly stands out; asked for less, it follows the sudden."""
    # changes of a rendered film at a shake of 3.7 px; in the release the hand lets go
    shaken = [8.1, 9.4, 7.7, 8.8, 10.6, 9.9, 12.2, 14.1, 13, 10.2, 8.6, 8.2, 10.5, 11.6, 12, 12.3]
    release = [13.0, 14.0, 13.9, 14.9, 19.0, 24.3, 21.8, 25.5, 40.3, 10.5, 9.0, 7.9, 7.4, 6.2, 6.9]
    change = np.array([0.0, *shaken, *release, *[7.0, 6.5, 7.5] * 8, *[30.0] * 8])
    sudden, more = releases(change), releases(change, least=LESS_SUDDEN)
    began = 1 + len(shaken) + 4
    assert more[: len(sudden)] == sudden
    assert all(abs(moment - began) > 3 for moment in sudden)
    assert any(abs(moment - began) <= 3 for moment in more)


@pytest.mark.long
def test_arrow_is_found_where_a_shaking_hand_hides_the_release() -> None:
    """At 120 frames a second, with 3.9 px of shake, its path is the true one to a pixel."""
    rng = np.random.default_rng([711, 31, DIFFICULTIES.index("hard")])
    plan = random_plan(rng, "hard")
    coding = phone_coding(plan, BITS_PER_PIXEL["hard"])
    with filmed(plan, seed=int(rng.integers(2**31)), coding=coding) as (path, truth):
        (flight,) = follow(path).flights
    seen = flight.seen
    error = flight.xy_px[seen] - truth.xy_px[seen]
    assert seen.sum() >= 16
    assert np.abs(error - np.median(error, axis=0)).mean() < 1.0


def test_no_thorough_search_without_a_rate(monkeypatch: pytest.MonkeyPatch) -> None:
    """It takes minutes where the time between frames may be anything; the answer is to say it."""
    asked = []

    def empty(_window: object, _fetch: object, _click: object, breadth: Breadth) -> None:
        asked.append(breadth)

    monkeypatch.setattr(follow_module, "follow_window", empty)
    film = next(clip.path for clip in demo_clips() if clip.name == "normal_speed")
    follow(film)
    assert asked
    assert set(asked) == {QUICK}
    asked.clear()
    lost = follow(film, capture_hz=Fraction(240)).lost
    assert THOROUGH in asked
    assert lost is not None
    assert lost.reason.key == "tracker.no_flight_said"
