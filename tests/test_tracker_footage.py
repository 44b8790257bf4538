"""Of frames in which an arrow is followed on only a part is kept; another path gets them whole."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pytest

from tracker.footage import QUIET_ROWS, SHAKE_MARGIN_PX, Footage
from tracker.types import Frame

WIDTH, HEIGHT, FRAMES, REFERENCE = 400, 300, 60, 30


@pytest.fixture
def film(rng: np.random.Generator) -> list[np.ndarray]:
    """Give frames of one scene, each with noise of its own."""
    scene = rng.uniform(40, 200, (HEIGHT, WIDTH))
    return [
        np.clip(scene + rng.normal(0, 1.5, scene.shape), 0, 255).astype(np.uint8)
        for _ in range(FRAMES)
    ]


def footage_of(film: list[np.ndarray], asked: list[int]) -> Footage:
    """Give the film as it would be decoded, and note from where it was asked for."""

    def fetch(row: int) -> Iterator[Frame]:
        asked.append(row)
        for k in range(row, FRAMES):
            yield Frame(index=k, container_time_s=k / 240, luma=film[k])

    return Footage(fetch, REFERENCE, FRAMES)


def test_a_part_is_the_same_pixels(film: list[np.ndarray]) -> None:
    """What is kept after `narrow` is the box and a margin, cut out of the frame."""
    footage = footage_of(film, [])
    np.testing.assert_array_equal(footage.part(REFERENCE + 2).luma, film[REFERENCE + 2])
    footage.narrow((200, 150, 240, 180))
    part = footage.part(REFERENCE + 5)
    assert (part.x0, part.y0) == (200 - SHAKE_MARGIN_PX, 150 - SHAKE_MARGIN_PX)
    assert part.luma.shape == (30 + 2 * SHAKE_MARGIN_PX, 40 + 2 * SHAKE_MARGIN_PX)
    h, w = part.luma.shape
    whole = film[REFERENCE + 5]
    np.testing.assert_array_equal(part.luma, whole[part.y0 : part.y0 + h, part.x0 : part.x0 + w])


def test_another_path_gets_whole_frames_again(film: list[np.ndarray]) -> None:
    """After `widen` the frames that were cut are asked for once more, their motion is kept."""
    asked: list[int] = []
    footage = footage_of(film, asked)
    footage.part(REFERENCE + 3)
    footage.narrow((200, 150, 240, 180))
    before = footage.motion(REFERENCE + 8)
    footage.widen()
    np.testing.assert_array_equal(footage.part(REFERENCE + 8).luma, film[REFERENCE + 8])
    assert footage.motion(REFERENCE + 8) is before
    assert asked == [0, REFERENCE + 4]


def test_frames_long_before_the_release_are_let_go(film: list[np.ndarray]) -> None:
    """Their motion is known, their pixels are not kept, and asking for them is a mistake."""
    footage = footage_of(film, [])
    assert footage.first_kept == REFERENCE + 1 - QUIET_ROWS
    assert footage.motion(0).inliers > 0
    with pytest.raises(IndexError, match="let go"):
        footage.part(footage.first_kept - 1)
