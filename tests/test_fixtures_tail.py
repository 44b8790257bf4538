"""The drawn tail: its place, its flux, its size."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from fixtures.plan import Arrow, Sensor
from fixtures.tail import Patch, head_on, laid_over, tail_patch
from tracker.types import FloatArray

EVEN = Arrow(index_luma=190.0)
LENS = Sensor(psf_px=0.6)
PLACE_PX = 0.01
"""How exactly a clean patch must stand where it was put."""


def _centroid(patch: Patch) -> FloatArray:
    y, x = np.mgrid[: patch.light.shape[0], : patch.light.shape[1]]
    flux = patch.light.sum(dtype=np.float64)
    return np.array(
        [(patch.light * x).sum() / flux + patch.x0, (patch.light * y).sum() / flux + patch.y0]
    )


@pytest.mark.parametrize("nock_px", [12.0, 6.0, 3.0, 1.5, 1.0, 0.5])
def test_tail_stands_where_it_was_put(nock_px: float) -> None:
    """Centroid of a symmetric tail within a hundredth of a pixel, at any fraction of one."""
    for x, y in [(40.0, 31.0), (40.25, 31.5), (40.5, 31.125), (40.87, 31.71)]:
        pose = head_on(EVEN, xy_px=(x, y), nock_px=nock_px, roll_rad=0.3)
        assert_allclose(_centroid(tail_patch(EVEN, pose, LENS)), [x, y], atol=PLACE_PX)


@pytest.mark.parametrize("psf", ["gauss", "disc", "tailed"])
def test_flux_does_not_depend_on_the_fraction_of_a_pixel(psf: str) -> None:
    """A tail of half a pixel covers the same area wherever it falls."""
    lens = replace(LENS, psf=psf)
    covers = [
        tail_patch(EVEN, head_on(EVEN, xy_px=(20 + f, 15 - f), nock_px=0.5, roll_rad=0.3), lens)
        .cover.sum(dtype=np.float64)
        for f in (0.0, 0.2, 0.5, 0.8)
    ]  # fmt: skip
    assert_allclose(covers, covers[0], rtol=0.005)


def test_flux_goes_with_the_square_of_the_size() -> None:
    """Covered area scales as the apparent size squared, from 12 px down to half a pixel."""
    sizes = np.array([12.0, 5.0, 2.0, 1.0, 0.5])
    covers = [
        tail_patch(EVEN, head_on(EVEN, xy_px=(50.3, 40.6), nock_px=s, roll_rad=0.3), LENS)
        .cover.sum(dtype=np.float64)
        for s in sizes
    ]  # fmt: skip
    # The vanes' fronts are seen in perspective, which changes a little with distance.
    assert_allclose(covers / sizes**2, covers[0] / 144, rtol=0.02)


def test_bare_nock_covers_a_disc() -> None:
    """Without vanes the covered area is pi d**2/4 of the nock."""
    bare = replace(EVEN, vanes=0, shaft_diameter_m=0.004)
    patch = tail_patch(bare, head_on(bare, xy_px=(30.2, 25.7), nock_px=8.0, roll_rad=0.0), LENS)
    assert_allclose(patch.cover.sum(dtype=np.float64), np.pi * 16, rtol=0.01)


def test_streak_is_centred_and_as_bright_as_a_point() -> None:
    """Spread over an exposure, a tail keeps its flux and its mean place."""
    pose = head_on(EVEN, xy_px=(40.4, 30.7), nock_px=3.0, roll_rad=1.0)
    trail = np.stack([np.linspace(-4, 4, 9), np.linspace(-1, 1, 9)], axis=1)
    point = tail_patch(EVEN, pose, LENS)
    streak = tail_patch(EVEN, pose, LENS, trail_px=trail)
    assert_allclose(streak.light.sum(), point.light.sum(), rtol=1e-3)
    assert_allclose(_centroid(streak), _centroid(point), atol=PLACE_PX)


def test_tail_seen_askew_moves_as_a_whole() -> None:
    """With shaft and vanes to one side, a shift of the pose shifts the picture by as much."""
    pose = replace(
        head_on(EVEN, xy_px=(40.0, 30.0), nock_px=4.0, roll_rad=1.0),
        axis=np.array([0.1, 0.05, np.sqrt(1 - 0.0125)]),
    )
    moved = replace(pose, xy_px=pose.xy_px + np.array([0.37, -0.21]))
    step = _centroid(tail_patch(EVEN, moved, LENS)) - _centroid(tail_patch(EVEN, pose, LENS))
    assert_allclose(step, [0.37, -0.21], atol=PLACE_PX)


def test_patch_hangs_over_the_edge_without_harm() -> None:
    """Only what falls inside the scene is laid over it."""
    scene = np.full((20, 30), 100.0, np.float32)
    laid_over(scene, tail_patch(EVEN, head_on(EVEN, xy_px=(-1, 5), nock_px=6, roll_rad=0), LENS))
    assert scene[5, 0] > 120
    assert_allclose(scene[:, 25:], 100.0)


def test_hidden_part_is_not_seen() -> None:
    """Where something nearer covers the tail, the scene stays as it is."""
    scene = np.full((40, 40), 60.0, np.float32)
    patch = tail_patch(EVEN, head_on(EVEN, xy_px=(20, 20), nock_px=4, roll_rad=0), LENS)
    laid_over(scene, patch, hidden=np.ones_like(patch.cover))
    assert_allclose(scene, 60.0)
