"""The drawn tail against a pinhole camera: places that similar triangles give for a real arrow."""

from __future__ import annotations

import numpy as np
import pytest

from tracker.tail import Look, Patch, covers

FOCAL_PX = 2000.0
NOCK_M, BODY_M, VANES_M, ARROW_M = 0.0083, 0.006, 0.035, 0.72
SPEED_M_S = 55.0
ASIDE_M = np.array([0.3, 0.2])
"""Of the nock's end from the line on which the lens looks."""

LOOK = Look(
    size_px_s=FOCAL_PX * NOCK_M / SPEED_M_S,
    blur_px=0.7,
    ring=3.0,
    exposure_s=0.0,
    shaft_s=ARROW_M / SPEED_M_S,
    nock=200.0,
    shaft=40.0,
    vanes=50.0,
    unlike=0.0,
)


def seen(ahead_m: float, away_m: float) -> np.ndarray:
    """Project a point of the arrow, beside the lens's line and parallel to it."""
    return FOCAL_PX * ASIDE_M / (away_m + ahead_m)


@pytest.mark.parametrize("away_m", [1.0, 2.0, 8.0])
def test_parts_of_the_tail_lie_where_a_pinhole_shows_them(away_m: float) -> None:
    """The nearer the arrow, the more of its picture the nock and the vanes take.

    One metre away the middle of a nock's body is seen 3.6 and 2.4 px before its end; an even share
    of the picture would be 2.1 and 1.4.
    """
    end, tip = seen(0.0, away_m), seen(ARROW_M, away_m)
    first, half = np.round(end).astype(int), int(10 + 60 / away_m)
    x, y = (np.arange(middle - half, middle + half + 1.0) for middle in first)
    nothing = np.zeros((len(y), len(x)))
    patch = Patch(
        row=0, x_px=x, y_px=y, picture=nothing, scene=nothing, weight=nothing + 1.0,
        depth_s=away_m / SPEED_M_S, speed_px_s=np.zeros(2),
    )  # fmt: skip
    parts = covers(patch, LOOK, end, tip - end, 1, slopes=False)
    middle = np.array([(parts.nock * x).sum(), (parts.nock * y[:, None]).sum()]) / parts.nock.sum()
    np.testing.assert_allclose(middle, seen(BODY_M, away_m), atol=0.15)
    # the ring's rim is even about the middle of the vanes, so its outermost light is, too
    there = parts.ring > 0.02 * parts.ring.max()
    across = x[there.any(axis=0)]
    assert (across[0] + across[-1]) / 2 == pytest.approx(seen(VANES_M, away_m)[0], abs=0.6)
