"""What swings is no stray, and what leaps is: places made by formula, without a picture."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import siegelslopes

from tracker.strays import MOST_GAIN, Course, steady_line

FRAMES, HZ = 48, 240.0
SIGMA_PX = 0.07
NOCK_PX_S = 0.55


def course_of(
    rng: np.random.Generator,
    quick_hz: float,
    quick_px: float,
    leap: tuple[int, float] | None = None,
    *,
    hz: float = HZ,
    scatter_px: float = SIGMA_PX,
) -> Course:
    """Give the course of a tail that yaws at 4 Hz and swings quickly besides, as wide as a nock.

    Swings are in pixels at a depth of an eighth of a second. Errors of `SIGMA_PX` are claimed
    whatever the scatter.
    """
    time = np.arange(FRAMES) / hz
    depth = 0.11 + time
    since = 2 * np.pi * time
    across = 2.0 * np.cos(4.0 * since) + quick_px * np.cos(quick_hz * since + 0.4)
    up = 0.5 * np.cos(4.0 * since + 1.0) + 0.1 * quick_px * np.cos(quick_hz * since)
    off = np.stack([across, up], axis=1) * 0.125 / depth[:, None]
    off += rng.normal(0.0, scatter_px, off.shape)
    if leap is not None:
        off[leap[0], 0] += leap[1]
    sigma = np.full_like(off, SIGMA_PX)
    return Course(time, depth, off, sigma, NOCK_PX_S, np.zeros(FRAMES, dtype=np.bool_))


@pytest.mark.parametrize("quick_px", [1.8, 4.0])
@pytest.mark.parametrize("quick_hz", [7.0, 10.0, 12.0, 14.0, 20.0, 30.0, 70.0])
def test_a_swing_is_no_stray(quick_hz: float, quick_px: float) -> None:
    """All but a few of the places are kept, however quickly the tail swings, in ten of ten flights.

    Wide swings of 10 to 20 Hz were once lost with all that came before them.
    """
    for seed in range(10):
        kept = course_of(np.random.default_rng(seed), quick_hz, quick_px).kept()
        assert len(kept) >= 0.9 * FRAMES


@pytest.mark.parametrize("row", [4, 20, 40])
@pytest.mark.parametrize("quick_hz", [10.0, 30.0])
def test_a_leap_is_a_stray(quick_hz: float, row: int) -> None:
    """One place 2.5 pixels off is dropped, and few others with it."""
    for seed in range(10):
        kept = course_of(np.random.default_rng(seed), quick_hz, 1.8, (row, 2.5)).kept()
        assert row not in kept
        assert len(kept) >= 0.8 * FRAMES


@pytest.mark.parametrize("scatter_px", [SIGMA_PX, 0.2])
@pytest.mark.parametrize(
    ("quick_hz", "hz"),
    [(f, hz) for hz in (120.0, 240.0) for f in (7.0, 8.5, 10.0, 12.0)] + [(70.0, 240.0)],
)
def test_claimed_errors_are_raised_to_the_scatter_and_no_further(
    quick_hz: float, hz: float, scatter_px: float
) -> None:
    """However the tail swings, what is claimed is two thirds of the scatter to twice as much.

    Swings between slow and quick were once taken for scatter: ten times the error was claimed.
    """
    said = []
    for seed in range(10):
        course = course_of(np.random.default_rng(seed), quick_hz, 3.0, hz=hz, scatter_px=scatter_px)
        said.append(np.median(course.scaled(np.full((FRAMES, 2), SIGMA_PX)), axis=0))
    middle = np.median(said, axis=0) / scatter_px
    assert (middle > 2 / 3).all()
    assert (middle < 2.0).all()


@pytest.mark.parametrize("trembles", [[], [0.035], [0.035, 0.065], [0.05, 0.09], [0.2, 0.4]])
def test_what_is_expected_does_not_repeat_the_noise_many_times(trembles: list[float]) -> None:
    """Whatever trembles are believed, neighbours' noise is passed on threefold at most.

    Told from slow motion by fourteen places, two of the slowest passed it on fivefold.
    """
    course = course_of(np.random.default_rng(0), 10.0, 1.0)
    course.trembles = trembles
    noise = np.random.default_rng(1).normal(0.0, 1.0, (FRAMES, 1000))
    for known in (range(20, 34), range(33, 19, -1), range(4, 44)):
        beyond = known[-1] + known.step
        due = course.expected(list(known), beyond, noise)
        assert np.sqrt((due**2).mean()) < 1.1 * MOST_GAIN


def test_a_line_is_that_of_a_reference_library(rng: np.random.Generator) -> None:
    """Repeated medians give what `scipy.stats.siegelslopes` gives, strays among the values."""
    t = np.sort(rng.uniform(0.0, 0.05, 12))
    values = np.stack([3.0 + 40.0 * t, -20.0 * t], axis=1) + rng.normal(0.0, 0.1, (12, 2))
    values[[2, 7, 9, 10]] += rng.normal(0.0, 8.0, (4, 2))
    at = np.array([0.052, 0.06])
    lines = [siegelslopes(values[:, k], t) for k in (0, 1)]
    wanted = np.stack([line.intercept + line.slope * at for line in lines], axis=1)
    np.testing.assert_allclose(steady_line(t, values, at), wanted, rtol=1e-9)
