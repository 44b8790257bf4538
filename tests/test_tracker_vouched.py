"""What a click asks of a path, and how triples through it are drawn."""

from __future__ import annotations

import numpy as np
import pytest

from tracker.candidates import Candidates
from tracker.types import FloatArray
from tracker.vouched import NEAR_FRAMES, Vouched, draw_through, with_click

N = 60


def flight() -> tuple[FloatArray, FloatArray, FloatArray]:
    """Lay out places in frames 10 to 40, two pixels beside a straight path, and sizes."""
    path = np.stack([100 + 4.0 * np.arange(N), np.full(N, 50.0)], axis=1)
    flown = path + np.array([0.0, 2.0])
    flown[:10] = np.nan
    flown[41:] = np.nan
    return flown, path, np.where(np.isfinite(flown[:, 0]), 3.0, np.nan)


def click(row: int, off_px: float) -> Vouched:
    """Click beside the place that swing and path put the nock at."""
    return Vouched(row=row, xy_px=np.array([100 + 4.0 * row, 52.0 + off_px]), within_px=6.0)


@pytest.mark.parametrize("row", [10, 25, 40, 42, 7])
def test_a_click_near_the_nock_hits(row: int) -> None:
    """Also a little before the first and after the last place, where path and swing stand in."""
    assert click(row, 5.5).hits(*flight())
    assert not click(row, 6.5).hits(*flight())


@pytest.mark.parametrize("row", [10 - NEAR_FRAMES - 1, 40 + NEAR_FRAMES + 1])
def test_a_click_at_another_time_misses(row: int) -> None:
    """Where the path would be, long before or after anything was seen on it, is no hit."""
    assert not click(row, 0.0).hits(*flight())


def test_a_large_nock_is_hit_within_itself() -> None:
    """12 pixels wide: 8 off its middle is nearly on it still."""
    flown, path, size = flight()
    assert click(20, 8.0).hits(flown, path, 4 * size)
    assert not click(20, 8.0).hits(flown, path, size)


def test_a_path_of_no_places_is_not_hit() -> None:
    """Nothing claimed, nothing clicked."""
    flown, path, size = flight()
    assert not click(20, 0.0).hits(flown * np.nan, path, size)


def test_triples_go_through_the_click() -> None:
    """Every triple holds a candidate near the click, in rising frames far enough apart."""
    rng = np.random.default_rng(8)
    places = rng.uniform(0, 300, (N, 5, 2))
    there = Vouched(row=30, xy_px=places[30, 2] + 1.0, within_px=6.0)
    usable = np.arange(5, N)
    frames, rank = draw_through(there, places, np.ones((N, 5)), usable, 12, rng, 500)
    assert len(frames) > 200
    assert (np.diff(frames, axis=1) > 0).all()
    assert (frames[:, 2] - frames[:, 0] >= 12).all()
    at, _ = np.nonzero(frames == 30)
    np.testing.assert_array_equal(np.unique(at), np.arange(len(frames)))
    distance = np.linalg.norm(places[30, rank[frames == 30]] - there.xy_px, axis=1)
    assert (distance < 6.0).all()
    assert set(rank[frames != 30].tolist()) == set(range(5))


def test_no_triples_where_nothing_was_looked_for() -> None:
    """A click in a frame without candidates has none."""
    rng = np.random.default_rng(8)
    there = Vouched(row=3, xy_px=np.zeros(2), within_px=6.0)
    places, weight = np.zeros((N, 5, 2)), np.ones((N, 5))
    assert not len(draw_through(there, places, weight, np.arange(5, N), 12, rng, 50)[0])


def test_the_click_is_a_candidate() -> None:
    """It stands in its frame, in case the nock itself was not found there."""
    none = Candidates(
        frame=np.zeros(0, np.int64),
        xy_px=np.zeros((0, 2)),
        snr=np.zeros(0),
        size_px=np.zeros(0),
    )
    seen = with_click(none, click(25, 0.0), first_frame=100, size_px=2.0)
    assert seen.frame.tolist() == [125]
    np.testing.assert_allclose(seen.xy_px, [[200.0, 52.0]])
