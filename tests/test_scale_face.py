"""The face found by itself: against faces drawn here, and none where there is none."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from tracker.face import find_face

# Gold, red, blue, black, white in grey, from the middle out: World Archery's order of colours, a
# fifth of the diameter each; the brightness of the coloured ones differs from the search's.
ZONES = ((1.0, 230), (0.8, 40), (0.6, 130), (0.4, 85), (0.2, 190))


def scene(rng: np.random.Generator, shape: tuple[int, int] = (220, 360)) -> np.ndarray:
    """Draw blotches of many sizes."""
    plate = np.full(shape, 120.0)
    for size in (3, 9, 27):
        plate += 18 * cv2.GaussianBlur(rng.normal(0, size, shape), (0, 0), size)
    return plate


def with_face(
    plate: np.ndarray, x: float, y: float, diameter: float, *, lean: float = 1.0, zones=ZONES
) -> np.ndarray:
    """Paint a face on a butt, three times finer than the picture, then blur it a little."""
    fine = 3
    rows, columns = np.mgrid[0 : plate.shape[0] * fine, 0 : plate.shape[1] * fine]
    px, py = (columns + 0.5) / fine - 0.5, (rows + 0.5) / fine - 0.5
    big = cv2.resize(plate, None, fx=fine, fy=fine, interpolation=cv2.INTER_NEAREST)
    big[(abs(px - x) < 0.7 * diameter) & (abs(py - y) < 0.7 * diameter)] = 150
    r = 2 * np.hypot(px - x, (py - y) / lean) / diameter
    for edge, luma in zones:
        big[r < edge] = luma
    return cv2.GaussianBlur(cv2.resize(big, plate.shape[::-1], interpolation=cv2.INTER_AREA),
                            (0, 0), 0.7)  # fmt: skip


def as_bytes(plate: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Add noise and round."""
    return np.clip(plate + rng.normal(0, 2, plate.shape), 0, 255).astype(np.uint8)


@pytest.mark.parametrize(("diameter", "lean"), [(22.4, 1.0), (41.7, 0.96), (93.0, 1.0)])
def test_face_is_found_with_its_true_width(rng, diameter, lean):
    """Middle within half a pixel, width within two claimed errors, on blotches."""
    plate = with_face(scene(rng), 231.3, 112.8, diameter, lean=lean)
    face = find_face(as_bytes(plate, rng))
    assert face is not None
    np.testing.assert_allclose([face.x_px, face.y_px], [231.3, 112.8], atol=0.5)
    assert abs(face.diameter_px - diameter) < 2 * face.sigma_px
    assert face.sigma_px < 0.04 * diameter


def test_no_face_is_no_face(rng):
    """Blotches, and a bare butt, are not taken for one."""
    assert find_face(as_bytes(scene(rng), rng)) is None
    bare = with_face(scene(rng), 150.0, 110.0, 60.0, zones=())
    assert find_face(as_bytes(bare, rng)) is None


def test_rings_in_another_order_are_no_face(rng):
    """Black outside, white inside: a plain roundel is refused."""
    zones = ((1.0, 40), (0.6, 230), (0.25, 60))
    plate = with_face(scene(rng), 180.0, 110.0, 60.0, zones=zones)
    assert find_face(as_bytes(plate, rng)) is None
