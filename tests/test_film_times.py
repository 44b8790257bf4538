"""Frame times and the rate at which a film was taken: never guessed, and said who vouches."""

from __future__ import annotations

import struct
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from fixtures.encode import Coding, write_clip
from tests.barcode_film import barcode_film, barcode_frames, note_keys, number_in, read_whole
from tracker.capture import (
    STRETCHES,
    capture_rate,
    check_said,
    pace,
    said_by_metadata,
)
from tracker.decode import Reader
from tracker.types import InputError

CAPTURE_KEY = "com.android.capture.fps"
NTSC_30 = Fraction(30000, 1001)


@pytest.mark.parametrize("ticks", [240, 600, 1000, 30000, 90000, 1_000_000])
@pytest.mark.parametrize(
    "hz", [Fraction(60), Fraction(120), Fraction(240), Fraction(480), NTSC_30, 8 * NTSC_30]
)
def test_rate_is_found_through_any_clock(ticks: int, hz: Fraction) -> None:
    """Rounding to 600 or 1000 ticks a second hides neither 240 from 250 nor 29.97 from 30."""
    if ticks < 1.2 * hz:
        pytest.skip("on this clock a dropped frame and a slower rate look the same")
    times = np.round(np.arange(600) / float(hz) * ticks) / ticks
    found = pace(times, 1 / ticks)
    assert found.hz == hz
    assert (found.dropped, found.gaps) == (0, 0)


def test_rate_of_no_usual_number_is_kept() -> None:
    """A sensor that runs at 239.5 is not rounded to 240."""
    times = np.arange(300) / 239.5
    found = pace(times, 1e-6)
    assert found.hz is not None
    np.testing.assert_allclose(float(found.hz), 239.5, rtol=1e-6)


def test_jitter_is_no_dropped_frame(rng: np.random.Generator) -> None:
    """Times that tremble by a tenth of the step leave the rate and drop nothing."""
    times = np.arange(400) / 240 + rng.uniform(-0.1, 0.1, 400) / 240
    found = pace(times - times[0], 1e-6)
    assert found.hz is not None
    np.testing.assert_allclose(float(found.hz), 240, rtol=1e-3)
    assert found.dropped == 0


@given(
    drop=st.sets(st.integers(1, 238), max_size=24),
    hz=st.sampled_from([60, 120, 240, 960]),
)
@settings(max_examples=60, deadline=None)
def test_gaps_are_counted_and_do_not_change_the_rate(drop: set[int], hz: int) -> None:
    """Many frames of 240 may be missing: the rate stays, and they are counted."""
    # Where every other frame is missing for long, the speed did change.
    assume(all(len(drop & set(range(k, k + 12))) <= 4 for k in range(240)))
    kept = [number for number in range(240) if number not in drop]
    found = pace(np.array(kept) / hz, 1e-6)
    assert found.hz == hz
    assert found.dropped == len(drop)


def test_change_of_speed_is_seen() -> None:
    """Normal, slow, normal: only the slow piece runs evenly, and its rate counts."""
    steps = np.concatenate([np.full(60, 1 / 240), np.full(200, 1 / 30), np.full(50, 1 / 240)])
    times = np.concatenate([[0.0], np.cumsum(steps)])
    found = pace(times, 1e-5)
    assert found.hz == 30
    assert abs(found.first_frame - 60) <= 5
    assert abs(found.last_frame - 260) <= 5
    (note,) = found.notes(len(times))
    assert note.key == "film.speed_changes"


def test_dropped_frames_are_no_change_of_speed() -> None:
    """Three lost frames every so often make gaps, not pieces."""
    numbers = [n for n in range(300) if n % 50 > 2]
    found = pace(np.array(numbers) / 120 - numbers[0] / 120, 1e-6)
    assert (found.first_frame, found.last_frame) == (0, len(numbers) - 1)
    assert found.hz == 120


@pytest.mark.parametrize("n", [0, 1])
def test_too_few_frames_have_no_rate(n: int) -> None:
    """One frame has no step."""
    assert pace(np.zeros(n), 1e-3).hz is None


def test_two_frames_have_one_step() -> None:
    """The shortest film with a rate."""
    assert pace(np.array([0.0, 1 / 120]), 1e-6).hz == 120


# Values: a key of 239.979996 was seen on a clip of a real phone, stored true and stretched to 30.
@pytest.mark.parametrize(
    ("container", "said", "written", "hz", "vouched", "stretch"),
    [
        (240, None, None, 240, "frame times", 1),
        (30, None, None, None, "unknown", None),
        (60, None, None, None, "unknown", None),
        (240, None, "239.979996", 240, "metadata", 1),
        (30, None, "239.979996", 239.979996, "metadata", 1 / 8),
        (30, None, "120", 120, "metadata", 1 / 4),
        (30, None, "30.0", 30, "metadata", 1),
        (30, 240, None, 240, "person", 1 / 8),
        (30, 120, "240", 120, "person", 1 / 4),
        (240, 240, None, 240, "person", 1),
        (240, None, "30", 240, "frame times", 1),
        (30, None, "77", None, "unknown", None),
    ],
)
def test_who_vouches_for_the_rate(
    container: int,
    said: int | None,
    written: str | None,
    hz: float | None,
    vouched: str,
    stretch: float | None,
) -> None:
    """Person before metadata before frame times; a film at 30 or 60 may be anything."""
    found, source, _ = capture_rate(
        Fraction(container),
        said=None if said is None else Fraction(said),
        written=None if written is None else said_by_metadata({CAPTURE_KEY: written}),
    )
    assert source == vouched
    if hz is None:
        assert found is None
    else:
        assert found is not None
        np.testing.assert_allclose(float(found), hz, rtol=1e-6)
        assert stretch is not None
        np.testing.assert_allclose(container / float(found), stretch, rtol=1e-4)


@pytest.mark.parametrize(
    ("container", "said", "written", "keys"),
    [
        (30, None, None, ["film.rate_unknown"]),
        (30, 240, 240, []),
        (30, 120, 240, ["film.rate_metadata_differs"]),
        (30, 100, None, ["film.rate_said_odd"]),
        (30, None, 77, ["film.rate_metadata_odd", "film.rate_unknown"]),
        (240, None, 30, ["film.rate_metadata_odd"]),
    ],
)
def test_contradictions_are_told(
    container: int, said: int | None, written: int | None, keys: list[str]
) -> None:
    """What does not fit is said, and nothing else is."""
    _, _, notes = capture_rate(
        Fraction(container),
        said=None if said is None else Fraction(said),
        written=None if written is None else Fraction(written),
    )
    assert [note.key for note in notes] == keys


@given(
    container=st.fractions(min_value=1, max_value=1000, max_denominator=1001),
    said=st.none() | st.fractions(min_value=1, max_value=2000, max_denominator=1001),
    written=st.none() | st.fractions(min_value=1, max_value=2000, max_denominator=1001),
)
@settings(max_examples=100, deadline=None)
def test_no_rate_is_invented(
    container: Fraction, said: Fraction | None, written: Fraction | None
) -> None:
    """Whatever comes in, the rate is one of those that somebody vouched for."""
    if said is not None and said < container:
        assume(said / container > 0.97)
    found, source, notes = capture_rate(container, said=said, written=written)
    assert found in {None, container, said, written}
    assert (found is None) == (source == "unknown")
    assert (source == "person") == (said is not None)
    if found is None:
        assert notes[-1].key == "film.rate_unknown"


@pytest.mark.parametrize(("container", "said"), [(240, 120), (240, 30), (30, 24)])
def test_fewer_frames_than_the_film_plays_are_refused(container: int, said: int) -> None:
    """Said of a film of 240, 120 a second double all times: 1.9 Hz and 45 mm for 3.7 and 18."""
    with pytest.raises(InputError, match="rate_said_slower"):
        capture_rate(Fraction(container), said=Fraction(said), written=None)


@pytest.mark.parametrize("text", ["", "fast", "nan", "inf", "-240", "0", "1e9"])
def test_unbelievable_metadata_are_no_evidence(text: str) -> None:
    """Text that is no rate of a camera is passed over."""
    assert said_by_metadata({CAPTURE_KEY: text}) is None


@pytest.mark.parametrize("hz", [Fraction(0), Fraction(-240), Fraction(1, 2), Fraction(10**6)])
def test_impossible_rate_of_a_person_is_refused(hz: Fraction) -> None:
    """No camera takes half a frame a second, nor a million."""
    with pytest.raises(InputError, match="rate_impossible"):
        check_said(hz)


@pytest.mark.parametrize("stretch", STRETCHES)
def test_same_film_stretched_has_the_same_true_times(tmp_path: Path, stretch: int) -> None:
    """Stored 1 to 32 times slower with the rate in the metadata: true times do not change."""
    coding = Coding(metadata={CAPTURE_KEY: "240.000000"})
    path = barcode_film(tmp_path / "a.mp4", 30, hz=Fraction(240, stretch), coding=coding)
    _, clip = read_whole(path)
    assert clip.capture_from == "metadata"
    assert clip.times_s is not None
    np.testing.assert_allclose(clip.times_s, np.arange(30) / 240, atol=1e-9)


def test_stretched_film_without_metadata_has_no_true_times(tmp_path: Path) -> None:
    """Nobody vouches for 240, so nothing is said of true seconds."""
    path = barcode_film(tmp_path / "a.mp4", hz=Fraction(30))
    _, clip = read_whole(path)
    assert (clip.capture_hz, clip.times_s, clip.capture_from) == (None, None, "unknown")
    assert note_keys(clip) == ["film.rate_unknown"]
    _, told = read_whole(path, Fraction(240))
    assert told.times_s is not None
    np.testing.assert_allclose(told.times_s, np.arange(40) / 240, atol=1e-9)


def test_apple_and_unknown_keys_are_no_evidence(tmp_path: Path) -> None:
    """A rate under a key of other meaning is passed over."""
    metadata = {"com.apple.quicktime.full-frame-rate-playback-intent": "240"}
    path = barcode_film(tmp_path / "a.mov", hz=Fraction(30), coding=Coding(metadata=metadata))
    assert read_whole(path)[1].capture_from == "unknown"


@pytest.mark.parametrize("name", ["a.mp4", "a.mov", "a.mkv"])
def test_uneven_times_come_from_the_file(
    tmp_path: Path, name: str, rng: np.random.Generator
) -> None:
    """Each frame keeps its own time, within the container's clock."""
    times_s = np.arange(60) / 120 + rng.uniform(-0.2, 0.2, 60) / 120
    times_s -= times_s[0]
    path = barcode_film(tmp_path / name, 60, hz=Fraction(120), times_s=times_s)
    frames, clip = read_whole(path)
    tick_s = 1e-3 if name.endswith("mkv") else 1 / 90000
    np.testing.assert_allclose(clip.container_times_s, times_s, atol=1.01 * tick_s)
    assert [number_in(frame.luma) for frame in frames] == list(range(60))


def test_dropped_frames_leave_gaps_in_time(tmp_path: Path) -> None:
    """4 of 120 frames lost: the times jump, the numbers do not, and it is told."""
    kept = np.delete(np.arange(120), [20, 47, 48, 90])
    path = barcode_film(tmp_path / "a.mp4", 116, hz=Fraction(120), times_s=kept / 120)
    _, clip = read_whole(path)
    np.testing.assert_allclose(clip.container_times_s, kept / 120, atol=1e-5)
    assert clip.container_hz == 120
    assert [str(note) for note in clip.notes] == ["film.dropped_frames dropped=4 gaps=3"]


@pytest.mark.parametrize("start_s", [0.5, 3.0])
@pytest.mark.parametrize("name", ["a.mp4", "a.mkv"])
def test_time_runs_from_the_first_frame(tmp_path: Path, name: str, start_s: float) -> None:
    """A film that starts late by its container's clock starts at zero here."""
    times_s = start_s + np.arange(40) / 240
    frames, clip = read_whole(barcode_film(tmp_path / name, times_s=times_s))
    assert frames[0].container_time_s == 0
    np.testing.assert_allclose(clip.container_times_s, np.arange(40) / 240, atol=1e-3)


@pytest.mark.parametrize("cut", [7, 20])
@pytest.mark.parametrize("codec", ["libx264", "libx265"])
def test_edit_list_hides_the_start(tmp_path: Path, cut: int, codec: str) -> None:
    """A film trimmed on the phone shows only what is kept, from time zero, and is not cut off."""
    path = barcode_film(tmp_path / "a.mp4", 60, coding=Coding(codec=codec))
    content = bytearray(path.read_bytes())
    # ISO/IEC 14496-12, 8.6.6: version 0 edit list; duration and start of the one edit.
    at = content.index(b"elst") + 4 + 8
    duration, start = struct.unpack(">Ii", content[at : at + 8])
    timescale_at = content.index(b"mdhd") + 4 + 4 + 8
    (timescale,) = struct.unpack(">I", content[timescale_at : timescale_at + 4])
    later = start + round(cut * timescale / 240)
    content[at : at + 8] = struct.pack(">Ii", round(duration * (60 - cut) / 60), later)
    path.write_bytes(content)
    with Reader(path) as reader:
        frames = list(reader.frames())
        again = list(reader.segment(0, 4))
        clip = reader.clip
    assert [number_in(frame.luma) for frame in frames] == list(range(cut, 60))
    assert [number_in(frame.luma) for frame in again] == list(range(cut, cut + 5))
    np.testing.assert_allclose(clip.container_times_s, np.arange(60 - cut) / 240, atol=1e-6)
    assert note_keys(clip) == []


def moving_scene(number: int, rng: np.random.Generator) -> np.ndarray:
    """Draw a bright spot crossing a grey scene with sensor noise."""
    y, x = np.mgrid[:120, :160]
    spot = 120 * np.exp(-((x - 20 - 1.7 * number) ** 2 + (y - 30 - 0.9 * number) ** 2) / 16)
    return np.clip(70 + 0.3 * x + spot + rng.normal(0, 1.5, x.shape), 0, 255).astype(np.uint8)


@pytest.mark.parametrize(("times", "true_hz"), [(2, 120.0), (4, 60.0)])
@pytest.mark.parametrize("codec", ["libx264", "libx265"])
def test_frames_stored_twice_are_told(
    tmp_path: Path, rng: np.random.Generator, times: int, true_hz: float, codec: str
) -> None:
    """120 or 60 taken, stored as 240: the film tells no more than what was taken."""
    scenes = [moving_scene(times * k, rng) for k in range(80 // times)]
    frames = (scenes[k // times] for k in range(80))
    coding = Coding(codec=codec)
    path = write_clip(tmp_path / "a.mp4", frames, container_hz=Fraction(240), coding=coding)
    _, clip = read_whole(path)
    expected = f"film.doubled_frames file_hz=240.0 true_hz={true_hz}"
    assert [str(note) for note in clip.notes] == [expected]


@pytest.mark.parametrize("crf", [16, 24, 34])
@pytest.mark.parametrize("codec", ["libx264", "libx265"])
@pytest.mark.parametrize("still", [False, True])
def test_honest_films_are_not_called_doubled(
    tmp_path: Path, rng: np.random.Generator, crf: int, codec: str, still: bool
) -> None:
    """Neither strong compression nor a scene at rest looks like doubling."""
    frames = (moving_scene(0 if still else k, rng) for k in range(80))
    coding = Coding(codec=codec, crf=crf, options={"bf": "3"})
    path = write_clip(tmp_path / "a.mp4", frames, container_hz=Fraction(240), coding=coding)
    assert note_keys(read_whole(path)[1]) == []


def test_calm_after_a_burst_is_not_called_doubled(tmp_path: Path, rng: np.random.Generator) -> None:
    """A scene nearly at rest, a release that moves half the picture, a small thing flying off."""

    def scene(number: int) -> np.ndarray:
        frame = moving_scene(number, rng).astype(np.int16)
        if 40 <= number < 46:
            frame[:, 20 * (number - 40) : 20 * (number - 40) + 60] += 70
        return np.clip(frame, 0, 255).astype(np.uint8)

    path = tmp_path / "a.mp4"
    write_clip(path, (scene(k) for k in range(80)), container_hz=Fraction(240))
    assert note_keys(read_whole(path)[1]) == []


def test_slow_piece_in_a_film_is_told(tmp_path: Path) -> None:
    """A slow-motion piece between two normal ones is found in a real file, and told."""
    steps = np.concatenate([np.full(40, 1 / 240), np.full(90, 1 / 30), np.full(29, 1 / 240)])
    times_s = np.concatenate([[0.0], np.cumsum(steps)])
    frames = barcode_frames(160)
    path = write_clip(tmp_path / "a.mp4", frames, container_hz=Fraction(30), times_s=times_s)
    _, clip = read_whole(path, Fraction(240))
    assert clip.container_hz == 30
    assert "film.speed_changes" in note_keys(clip)
