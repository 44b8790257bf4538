"""Times rounded to a coarse clock come back exact where they were even, and only there."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fixtures.encode import Coding, has_encoder
from tests.barcode_film import barcode_film, note_keys
from tracker.capture import pace
from tracker.decode import Reader
from tracker.even_times import unrounded
from tracker.types import FloatArray, IntArray

MILLISECOND = Fraction(1, 1000)
TELEVISION_60 = Fraction(60000, 1001)
RATES = [Fraction(30), TELEVISION_60, Fraction(120), 4 * TELEVISION_60, Fraction(240)]


def in_ticks(times_s: FloatArray, tick_s: Fraction = MILLISECOND) -> IntArray:
    """Round as a container does."""
    return np.round(times_s / float(tick_s)).astype(np.int64)


def evened(ticks: IntArray, tick_s: Fraction = MILLISECOND) -> FloatArray:
    """Take the rounding off, with the rate that is measured on the rounded times."""
    ticks = ticks - ticks[0]
    times_s = np.asarray(ticks * float(tick_s), dtype=np.float64)
    return unrounded(ticks, tick_s, pace(times_s, float(tick_s)).hz)


@pytest.mark.parametrize("hz", [*RATES, Fraction(480), Fraction(960)], ids=str)
@pytest.mark.parametrize("start_s", [0.0, 0.0123, 71.3337])
def test_even_times_come_back_exactly(hz: Fraction, start_s: float) -> None:
    """Rounded to milliseconds, wherever on the clock they began."""
    true = np.arange(500) / float(hz)
    np.testing.assert_allclose(evened(in_ticks(start_s + true)), true, rtol=0, atol=1e-12)


@pytest.mark.parametrize("ticks_per_s", [600, 1000, 15360, 90000])
def test_any_clock(ticks_per_s: int) -> None:
    """The clock of 600 that films of phones have, and finer ones."""
    tick_s, true = Fraction(1, ticks_per_s), np.arange(400) / 240
    np.testing.assert_allclose(evened(in_ticks(true, tick_s), tick_s), true, rtol=0, atol=1e-12)


def test_times_cut_off_instead_of_rounded() -> None:
    """Some software leaves the rest of a millisecond away: the steps are the same."""
    true = np.arange(400) / 240
    ticks = np.floor(true * 1000 + 1e-9).astype(np.int64)
    np.testing.assert_allclose(evened(ticks), true, rtol=0, atol=1e-12)


@given(
    hz=st.sampled_from(RATES),
    drop=st.sets(st.integers(1, 298), max_size=20),
    start_s=st.floats(0, 100),
)
@settings(max_examples=60, deadline=None)
def test_dropped_frames_stay_gaps(hz: Fraction, drop: set[int], start_s: float) -> None:
    """What is missing leaves its gap, and the rest is exact."""
    kept = np.array([k for k in range(300) if k not in drop])
    ticks = in_ticks(start_s + kept / float(hz))
    ticks -= ticks[0]
    even = unrounded(ticks, MILLISECOND, hz)
    np.testing.assert_allclose(even, (kept - kept[0]) / float(hz), rtol=0, atol=1e-12)


@given(seed=st.integers(0, 2**32 - 1), share=st.floats(0.2, 0.45))
@settings(max_examples=60, deadline=None)
def test_varying_times_are_left_alone(seed: int, share: float) -> None:
    """Steps that tremble by more than the clock's rounding are the film's own."""
    rng = np.random.default_rng(seed)
    times = (np.arange(300) + rng.uniform(-share, share, 300)) / 240
    ticks = in_ticks(times)
    ticks -= ticks[0]
    np.testing.assert_array_equal(evened(ticks), ticks * 1e-3)


@pytest.mark.parametrize("slow", [1.03, 1.5, 3.3])
def test_change_of_speed_is_left_alone(slow: float) -> None:
    """A film that slows down keeps the times of its file."""
    steps = np.concatenate([np.full(150, 1 / 240), np.full(150, slow / 240)])
    ticks = in_ticks(np.concatenate([[0.0], np.cumsum(steps)]))
    np.testing.assert_array_equal(evened(ticks), ticks * 1e-3)


def test_one_late_frame_leaves_all_alone() -> None:
    """A camera that was late once by half a frame has no even times."""
    times = np.arange(300) / 240
    times[151] += 0.5 / 240
    ticks = in_ticks(times)
    np.testing.assert_array_equal(evened(ticks), ticks * 1e-3)


def test_no_grid_as_fine_as_the_clock_is_believed() -> None:
    """Steps of one tick or two agree with 960 a second by luck, if frames may be missing."""
    rng = np.random.default_rng(5)
    ticks = np.concatenate([[0], np.cumsum(rng.integers(1, 3, 200))])
    for hz in (Fraction(960), Fraction(999)):
        np.testing.assert_array_equal(unrounded(ticks, MILLISECOND, hz), ticks * 1e-3)


@pytest.mark.parametrize("n", [0, 1, 2, 11])
def test_few_frames_are_left_alone(n: int) -> None:
    """They agree with anything."""
    ticks = in_ticks(np.arange(n) / 240)
    np.testing.assert_array_equal(unrounded(ticks, MILLISECOND, Fraction(240)), ticks * 1e-3)


@pytest.mark.parametrize("name", ["a.mkv", "a.webm"])
def test_films_in_milliseconds_have_exact_times(tmp_path: Path, name: str) -> None:
    """A real file, with four frames missing: times are exact, and a part again has its own."""
    kept = np.delete(np.arange(124), [20, 47, 48, 90])
    coding = Coding(codec="libvpx-vp9") if name.endswith("webm") else Coding()
    if not has_encoder(coding.codec):
        pytest.skip(f"no encoder {coding.codec}")
    path = barcode_film(tmp_path / name, 120, times_s=kept / 240, coding=coding)
    with Reader(path) as reader:
        whole = list(reader.frames())
        part = list(reader.segment(60, 70))
        clip = reader.clip
    np.testing.assert_allclose(clip.container_times_s, kept / 240, rtol=0, atol=1e-12)
    assert [f.index for f in part] == list(range(60, 71))
    assert [f.container_time_s for f in part] == [f.container_time_s for f in whole[60:71]]
    assert note_keys(clip) == ["film.dropped_frames"]
