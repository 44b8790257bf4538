"""Lamps that flicker: frames come out as bright as the reference, and arrows are found under them.

Lamps on mains of 50 Hz brighten 100 times a second (the square of the mains' sine has twice its
frequency); a phone that reads its rows one by one shows that as bands.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from fixtures.plan import FlightPlan
from fixtures.render import render
from tests.benchmarks.filmed_flights import compared
from tests.test_tracker_trigger import FRAMES, RELEASE, found, frames
from tests.tracked_films import small_flight, written
from tracker.follow import follow
from tracker.lighting import Lighting
from tracker.stabilise import CameraMotion
from tracker.types import ByteArray, FloatArray

HEIGHT, WIDTH = 540, 960
READOUT_S, STEP_S = 3.5e-3, 1 / 240
SEED = 5


def scenery(rng: np.random.Generator) -> FloatArray:
    """Draw a scene with texture of all sizes."""
    layers = [
        cv2.resize(rng.normal(0, 22, (HEIGHT // k, WIDTH // k)), (WIDTH, HEIGHT))
        for k in (3, 9, 27)
    ]
    return np.clip(110 + sum(layers), 20, 220)


def waver(time_s: float, share: float) -> FloatArray:
    """(HEIGHT, 1) light of each row in a frame."""
    row_s = READOUT_S * (np.arange(HEIGHT) / HEIGHT - 0.5)
    return 1 + share * np.sin(2 * np.pi * 100 * (time_s + row_s))[:, None]


def shown(light: FloatArray, rng: np.random.Generator) -> ByteArray:
    """Add the sensor's noise and round."""
    return np.clip(np.rint(light + rng.normal(0, 1.0, light.shape)), 0, 255).astype(np.uint8)


@pytest.mark.parametrize("share", [0.02, 0.08])
def test_bands_of_light_go(rng: np.random.Generator, share: float) -> None:
    """What wanders over the picture is gone to a half of one per cent in every row."""
    scene = scenery(rng)
    light = Lighting(shown(scene, rng))
    for k in range(12):
        lit = waver(k * STEP_S, share)
        left = light.steadied(shown(scene * lit, rng)).mean(axis=1) / scene.mean(axis=1) - 1
        assert np.abs(left).max() < 0.006
        assert np.abs(lit - 1).max() > 0.01 or np.ptp(lit) < 0.01


def test_a_phone_held_upright(rng: np.random.Generator) -> None:
    """Its rows stand upright in the picture, and so do the bands."""
    scene = scenery(rng)
    before, lit = shown(scene, rng), shown(scene * waver(STEP_S, 0.06), rng)
    lying = Lighting(before).steadied(lit)
    assert (Lighting(before.T.copy()).steadied(lit.T.copy()) == lying.T).mean() > 0.999


def test_what_moves_is_outvoted(rng: np.random.Generator) -> None:
    """An archer who covers a third of the picture does not change the light elsewhere."""
    scene = scenery(rng)
    light, now = Lighting(shown(scene, rng)), scene.copy()
    now[120:, 180 : 180 + WIDTH // 3] = 30.0
    dimmed = light.steadied(shown(0.94 * now, rng))[:, 600:].mean()
    assert dimmed == pytest.approx(scene[:, 600:].mean(), rel=0.01)


def test_daylight_is_left_alone(rng: np.random.Generator) -> None:
    """Under daylight frames stay what they are, though a hand shakes by two pixels."""
    scene = scenery(rng)
    light, frame = Lighting(shown(scene, rng)), shown(scene, rng)
    for right, down in 4 * ((0, 0), (2, 0), (-1, 2)):
        moved = CameraMotion(
            matrix=np.array([[1.0, 0.0, right], [0.0, 1.0, down]]), inliers=20, residual_px=0.1
        )
        light.steadied(shown(np.roll(scene, (down, right), (0, 1)), rng), moved)
    light.learn()
    assert light.steadied(frame) is frame


def test_lamps_are_not_taken_for_daylight(rng: np.random.Generator) -> None:
    """Light that wavers by two per cent is held to the reference after the lesson, too."""
    scene = scenery(rng)
    light = Lighting(shown(scene, rng))
    for k in range(12):
        light.steadied(shown(scene * waver(k * STEP_S, 0.02), rng))
    light.learn()
    assert light.steadied(shown(0.97 * scene, rng)).mean() == pytest.approx(scene.mean(), rel=2e-3)


def test_the_dark_tells_nothing(rng: np.random.Generator) -> None:
    """A picture in which nothing is lit is left alone, and so are dark corners."""
    dark = shown(np.full((HEIGHT, WIDTH), 2.0), rng)
    assert (Lighting(dark).steadied(dark) == dark).all()
    scene = scenery(rng)
    scene[:, : WIDTH // 4] = 1.0
    again = Lighting(shown(scene, rng)).steadied(shown(0.9 * scene, rng))
    assert again[:, WIDTH // 3 :].mean() == pytest.approx(scene[:, WIDTH // 3 :].mean(), rel=0.01)


def test_release_under_wandering_bands(rng: np.random.Generator) -> None:
    """Bands over the whole picture hide no release."""
    films = frames(rng, flicker=0.0, jump_at=None)
    height = len(films[0])
    for k in range(FRAMES):
        phase = 2 * np.pi * (0.42 * k + 0.35 * np.arange(height) / height)
        lit = films[k] * (1 + 0.05 * np.sin(phase))[:, None]
        films[k] = np.clip(np.rint(lit), 0, 255).astype(np.uint8)
    assert abs(found(films)[0] - RELEASE) <= 1


@pytest.fixture
def lamps() -> FlightPlan:
    """Plan a flight in a hall, filmed by a phone that reads its rows one by one."""
    plan = small_flight()
    return replace(
        plan,
        camera=replace(plan.camera, readout_s=READOUT_S),
        sensor=replace(plan.sensor, flicker=0.06),
    )


def test_an_arrow_under_lamps(tmp_path: Path, lamps: FlightPlan) -> None:
    """It is followed through its flight, no worse than it claims."""
    film = render(lamps, seed=SEED)
    path = written(tmp_path, film)
    one = compared(lamps, follow(path), film.truth)
    assert one.outcome == "right"
    assert one.wide.sum() > 0.7 * one.flying_frames
    assert one.z2().mean() < 3.0
