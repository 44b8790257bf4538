"""The scene without the arrow: medians of frames against the reference library's."""

import numpy as np
import pytest

from tracker.candidates import FLOOR, make_plate


@pytest.mark.parametrize("count", range(1, 18))
def test_the_scene_is_the_median_of_the_frames(count: int) -> None:
    """What `numpy.median` gives, and the frames themselves stay as they are."""
    rng = np.random.default_rng(count)
    before = [rng.uniform(0, 255, (12, 16)).astype(np.float32) for _ in range(count)]
    during = [rng.uniform(0, 255, (12, 16)).astype(np.float32) for _ in range(count + 1)]
    given = [frame.copy() for frame in (*before, *during)]
    plate = make_plate(before, during)
    np.testing.assert_allclose(plate.before, np.median(before, axis=0), rtol=1e-6)
    np.testing.assert_allclose(plate.during, np.median(during, axis=0), rtol=1e-6)
    assert (plate.noise >= np.float32(FLOOR)).all()
    for frame, same in zip((*before, *during), given, strict=True):
        np.testing.assert_array_equal(frame, same)
