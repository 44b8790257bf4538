"""Places found where no renderer of ours was at work: spots set by hand, a photograph shifted.

The spots are one and the same bright square, two pixels wide, blurred by the weights 1 4 6 4 1, at
every quarter of a pixel: whole numbers, so that their centroids are exact and can be checked with
a pencil. The photograph is `china.jpg`, which scikit-learn ships (CC BY 2.0); it is shifted by
turning the phases of its Fourier transform, which is exact for a band-limited picture.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import cv2
import numpy as np
import pytest
from sklearn.datasets import load_sample_image

from tracker.footage import Footage
from tracker.patches import Strip, cut_patch
from tracker.refine import TILT, Placed, Pose, fit_look, place
from tracker.stabilise import Scenery
from tracker.tail import NOCK_AHEAD, Look, Patch
from tracker.types import Frame

SPOTS = {
    "on a pixel, on a pixel": (
        [
            [4, 24, 60, 80, 60, 24, 4],
            [24, 144, 360, 480, 360, 144, 24],
            [60, 360, 900, 1200, 900, 360, 60],
            [80, 480, 1200, 1600, 1200, 480, 80],
            [60, 360, 900, 1200, 900, 360, 60],
            [24, 144, 360, 480, 360, 144, 24],
            [4, 24, 60, 80, 60, 24, 4],
        ],
        (3.0, 3.0),
    ),
    "between pixels, between pixels": (
        [
            [16, 80, 160, 160, 80, 16],
            [80, 400, 800, 800, 400, 80],
            [160, 800, 1600, 1600, 800, 160],
            [160, 800, 1600, 1600, 800, 160],
            [80, 400, 800, 800, 400, 80],
            [16, 80, 160, 160, 80, 16],
        ],
        (2.5, 2.5),
    ),
    "a quarter left, on a pixel": (
        [
            [6, 32, 70, 80, 50, 16, 2],
            [36, 192, 420, 480, 300, 96, 12],
            [90, 480, 1050, 1200, 750, 240, 30],
            [120, 640, 1400, 1600, 1000, 320, 40],
            [90, 480, 1050, 1200, 750, 240, 30],
            [36, 192, 420, 480, 300, 96, 12],
            [6, 32, 70, 80, 50, 16, 2],
        ],
        (2.75, 3.0),
    ),
    "a quarter right, a quarter up": (
        [
            [3, 24, 75, 120, 105, 48, 9],
            [16, 128, 400, 640, 560, 256, 48],
            [35, 280, 875, 1400, 1225, 560, 105],
            [40, 320, 1000, 1600, 1400, 640, 120],
            [25, 200, 625, 1000, 875, 400, 75],
            [8, 64, 200, 320, 280, 128, 24],
            [1, 8, 25, 40, 35, 16, 3],
        ],
        (3.25, 2.75),
    ),
    "between pixels, a quarter down": (
        [
            [4, 20, 40, 40, 20, 4],
            [32, 160, 320, 320, 160, 32],
            [100, 500, 1000, 1000, 500, 100],
            [160, 800, 1600, 1600, 800, 160],
            [140, 700, 1400, 1400, 700, 140],
            [64, 320, 640, 640, 320, 64],
            [12, 60, 120, 120, 60, 12],
        ],
        (2.5, 3.25),
    ),
}
"""In sixteenths of a grey level, with the centroid: x, y of the top-left number being 0, 0."""
SIDE, CORNER = 17, 5
BACKGROUND = 60
NOISE = 4.0
LOOK = Look(
    size_px_s=2.26,  # the disc with the area of the square of two pixels
    blur_px=1.04,  # the weights spread by one, a pixel by a twelfth square pixel
    ring=2.5,
    exposure_s=0.0,
    shaft_s=1.0,
    nock=BACKGROUND + 256.0,  # the spots sum to 1024 grey levels, over four pixels
    shaft=float(BACKGROUND),
    vanes=0.0,
    unlike=0.0,  # it has none
)
QUIET_PX = 0.02
"""Without noise nothing but the model's disc for the square is in error."""


def patch_of(picture: np.ndarray, noise: float) -> Patch:
    """Wrap a picture of a spot on an even scene."""
    return Patch(
        row=0,
        x_px=np.arange(SIDE, dtype=float),
        y_px=np.arange(SIDE, dtype=float),
        picture=picture.astype(float),
        scene=np.full((SIDE, SIDE), float(BACKGROUND)),
        weight=np.full((SIDE, SIDE), noise**-2),
        depth_s=1.0,
        speed_px_s=np.zeros(2),
    )


def with_spot(name: str) -> tuple[np.ndarray, np.ndarray]:
    """Set a spot on the even scene; give the picture and the spot's centroid."""
    levels, middle = SPOTS[name]
    picture = np.full((SIDE, SIDE), float(BACKGROUND))
    spot = np.array(levels) / 16
    picture[CORNER : CORNER + spot.shape[0], CORNER : CORNER + spot.shape[1]] += spot
    return picture, np.array(middle) + CORNER


def placed(patch: Patch, look: Look = LOOK, start: tuple[float, float] = (8.4, 7.3)) -> Placed:
    """Place the nock from a start that is off by half a pixel."""
    pose = Pose.at(np.array(start), 1)
    return place(patch, look, pose, np.zeros(2), rounds=12)


@pytest.mark.parametrize("name", SPOTS)
def test_centroids_are_as_written(name: str) -> None:
    """The written centroid is the spot's first moment."""
    levels, middle = np.array(SPOTS[name][0]), SPOTS[name][1]
    rows, columns = np.indices(levels.shape)
    moment = [(levels * columns).sum() / levels.sum(), (levels * rows).sum() / levels.sum()]
    np.testing.assert_array_equal(moment, middle)


@pytest.mark.parametrize("name", SPOTS)
def test_a_spot_is_placed_on_its_centroid(name: str) -> None:
    """Wherever in its pixel a spot lies, it is found there."""
    picture, middle = with_spot(name)
    found = placed(patch_of(picture, NOISE)).pose.xy_px
    np.testing.assert_allclose(found, middle, atol=QUIET_PX)


@pytest.mark.parametrize("name", SPOTS)
def test_claimed_errors_of_spots_are_true(name: str, rng: np.random.Generator) -> None:
    """Over 200 draws of noise the errors scatter as much as claimed, within a fifth, in both axes.

    By chance the root of a mean of 200 squares strays by 1/sqrt(400), a twentieth. Their mean, the
    error of the disc for a square, is held small above.
    """
    picture, middle = with_spot(name)
    z = []
    for _ in range(200):
        noisy = np.rint(picture + rng.normal(0, NOISE, picture.shape))
        found = placed(patch_of(noisy, float(np.hypot(NOISE, 12**-0.5))))
        # the end of the nock is as far beside its middle as a shaft leans that is drawn as expected
        end = middle - NOCK_AHEAD * TILT * LOOK.size_px_s * rng.normal(size=2)
        z.append((found.pose.xy_px - end) / np.sqrt(np.diag(found.covariance)))
    np.testing.assert_allclose(np.std(z, axis=0), 1.0, atol=0.2)


def test_a_nock_beyond_the_picture_may_be_anywhere() -> None:
    """Pixels that do not count say nothing of its place, and do not end in an error."""
    flat = patch_of(np.full((SIDE, SIDE), float(BACKGROUND)), NOISE)
    patch = replace(flat, weight=np.zeros((SIDE, SIDE)))
    beyond = placed(patch)
    assert np.sqrt(np.diag(beyond.covariance)).min() > 1000
    assert beyond.contrast == 0.0
    look = replace(LOOK, exposure_s=1e-3)
    found, _ = fit_look([patch] * 3, look, [beyond.pose] * 3, [np.zeros(2)] * 3)
    assert found.nock == pytest.approx(look.nock, abs=1e-6)


def fourier_shifted(picture: np.ndarray, shift: tuple[float, float]) -> np.ndarray:
    """Shift a picture right and down by the phases of its transform; it wraps around."""
    fy = np.fft.fftfreq(picture.shape[0])[:, None]
    fx = np.fft.rfftfreq(picture.shape[1])[None, :]
    turned = np.fft.rfft2(picture) * np.exp(-2j * np.pi * (fx * shift[0] + fy * shift[1]))
    return np.asarray(np.fft.irfft2(turned, s=picture.shape))


@pytest.fixture(scope="module")
def photograph() -> np.ndarray:
    """Give the brightness of a photograph, half size: every pixel the mean of four.

    The camera's own sharpening, which no lens makes, is gone so, and the highest frequencies.
    """
    grey = cv2.cvtColor(load_sample_image("china.jpg"), cv2.COLOR_RGB2GRAY)
    soft = cv2.GaussianBlur(grey.astype(np.float32), (0, 0), 1.0)
    return soft[: soft.shape[0] // 2 * 2, : soft.shape[1] // 2 * 2].astype(float)


EDGE = 16
"""What wraps around is cut off."""

SHIFTS = [(0.37, -0.21), (-0.5, 0.5), (2.718, 3.142), (-6.18, 1.414), (0.05, -0.05)]


def film_frame(
    picture: np.ndarray, shift: tuple[float, float], rng: np.random.Generator
) -> np.ndarray:
    """Shift, add the noise of a sensor, round and cut the edge off."""
    noisy = fourier_shifted(picture, shift) + rng.normal(0, 1.0, picture.shape)
    cut = noisy[EDGE:-EDGE, EDGE:-EDGE]
    return np.clip(np.rint(cut), 0, 255).astype(np.uint8)


@pytest.mark.parametrize("shift", SHIFTS)
def test_shake_of_a_photograph(
    photograph: np.ndarray, shift: tuple[float, float], rng: np.random.Generator
) -> None:
    """The camera's motion is found to a fiftieth of a pixel, in the middle and in the corners."""
    scenery = Scenery(film_frame(photograph, (0.0, 0.0), rng))
    frame = film_frame(photograph, shift, rng)
    height, width = frame.shape
    points = np.array([[width / 2, height / 2], [0, 0], [width, 0], [0, height], [width, height]])
    moved = scenery.motion(frame).to_raw(points) - points
    np.testing.assert_allclose(moved[0], shift, atol=0.02)
    np.testing.assert_allclose(moved[1:], np.tile(shift, (4, 1)), atol=0.05)


SPOTS_AT = {"beside the roof": (300, 120), "8 pixels below the rim": (40, EDGE + 5)}
"""Pixels of the photograph at which the spot's corner is set."""


@pytest.fixture(scope="module", params=SPOTS_AT)
def shaken(request: pytest.FixtureRequest, photograph: np.ndarray) -> tuple[Footage, np.ndarray]:
    """Film the photograph ten times without and then, shaken, with a spot; give the spot's place.

    The spot is laid over the scene as an arrow is: it covers what is behind it.
    """
    rng = np.random.default_rng(6)
    levels, middle = SPOTS["on a pixel, on a pixel"]
    x, y = SPOTS_AT[request.param]
    marked = photograph.copy()
    behind = marked[y : y + 7, x : x + 7]
    behind += np.array(levels) / 16 / 256 * (LOOK.nock - behind)
    shifts = [(0.0, 0.0)] * 10 + SHIFTS
    pictures = [photograph] * 10 + [marked] * len(SHIFTS)

    def frames(first: int) -> Iterator[Frame]:
        for k in range(first, len(pictures)):
            luma = film_frame(pictures[k], shifts[k], rng)
            yield Frame(index=k, container_time_s=k / 240, luma=luma)

    return Footage(frames, 9, len(pictures)), np.array([x, y]) + middle - EDGE


def test_a_spot_before_a_shaken_photograph(shaken: tuple[Footage, np.ndarray]) -> None:
    """Scenery, scene and spot all come from shifted pixels, and the spot stays where it is."""
    footage, middle = shaken
    path = np.full((footage.count, 2), np.nan)
    path[10:] = middle + np.array([0.4, -0.3])
    x0, y0 = (middle - 40).astype(int).tolist()
    strip = Strip(footage, (x0, y0, x0 + 80, y0 + 80), before=10)
    errors = []
    for row in range(10, footage.count):
        patch = cut_patch(
            strip, row, path, half=8, depth_s=1.0, speed_px_s=np.zeros(2), newest=footage.count - 1
        )
        assert patch is not None
        start = footage.motion(row).to_raw(path[row : row + 1])[0]
        found = placed(patch, LOOK, (float(start[0]), float(start[1])))
        there = footage.motion(row).to_reference(found.pose.xy_px[None])[0]
        errors.append(there - middle)
    np.testing.assert_allclose(errors, np.zeros((len(SHIFTS), 2)), atol=0.06)
