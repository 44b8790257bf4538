"""Films written to disk: times, codes and tags come back."""

import os
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest
from numpy.testing import assert_allclose

from fixtures.encode import Coding, has_encoder, write_clip
from tracker.types import ByteArray

TALL_LINES, WIDE_COLUMNS = 96, 160


def _frames(count: int) -> list[ByteArray]:
    """Give smooth pictures whose top and bottom, left and right differ, a step brighter each."""
    y, x = np.mgrid[:TALL_LINES, :WIDE_COLUMNS]
    return [(40 + 0.5 * x + 40 * (y > 47) + 4 * k).astype(np.uint8) for k in range(count)]


def _decoded(path: Path) -> list[av.VideoFrame]:
    with av.open(str(path)) as container:
        return list(container.decode(video=0))


def _luma(frame: av.VideoFrame) -> np.ndarray:
    """Give the Y plane as stored, ten bits scaled to eight."""
    wide = frame.format.components[0].bits > 8
    kind = np.dtype(np.uint16) if wide else np.dtype(np.uint8)
    plane = frame.planes[0]
    rows = np.frombuffer(bytes(plane), kind).reshape(plane.height, -1)[:, : plane.width]
    return rows / 4 if wide else rows.astype(float)


@pytest.mark.parametrize(
    ("name", "coding"),
    [
        ("a.mp4", Coding(crf=8)),
        ("a.mov", Coding(codec="libx265", crf=8)),
        ("b.mp4", Coding(codec="libx265", pix_fmt="yuv420p10le", crf=8)),
        ("a.webm", Coding(codec="libvpx-vp9", crf=8)),
        ("c.mp4", Coding(codec="libsvtav1", crf=8)),
        ("d.mp4", Coding(bit_rate=4_000_000)),
    ],
)
def test_brightness_codes_come_back(
    name: str, coding: Coding, tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    """Every codec keeps luma within two codes on smooth pictures, in order."""
    if not has_encoder(coding.codec):
        pytest.skip(f"no encoder {coding.codec} here")
    frames = _frames(6)
    path = write_clip(tmp_path / name, frames, container_hz=Fraction(240), coding=coding)
    back = _decoded(path)
    capfd.readouterr()  # encoders that talk
    assert len(back) == 6
    for was, now in zip(frames, back, strict=True):
        assert np.abs(_luma(now) - was).mean() < 2.0


@pytest.mark.skipif(not hasattr(os, "sched_getscheduler"), reason="no such word here")
@pytest.mark.parametrize("codec", ["libx264", "libx265", "libvpx-vp9", "libsvtav1"])
def test_writing_a_film_leaves_the_turn_on_the_processors_alone(codec: str, tmp_path: Path) -> None:
    """A process that became a real-time one would keep all others waiting, for good."""
    if not has_encoder(codec):
        pytest.skip(f"no encoder {codec} here")
    before = os.sched_getscheduler(0)
    seen: list[int] = []

    def watched() -> Iterator[ByteArray]:
        for frame in _frames(4):
            yield frame
            seen.append(os.sched_getscheduler(0))

    write_clip(
        tmp_path / "a.mkv", watched(), container_hz=Fraction(240), coding=Coding(codec=codec)
    )
    assert [*seen, os.sched_getscheduler(0)] == [before] * 5


@pytest.mark.parametrize("rate", [Fraction(240), Fraction(30000, 1001), Fraction(960)])
def test_even_frame_times_come_back(rate: Fraction, tmp_path: Path) -> None:
    """Presentation times are whole frames of the container's rate, exactly."""
    path = write_clip(tmp_path / "a.mp4", _frames(5), container_hz=rate)
    times = [Fraction(f.pts) * f.time_base for f in _decoded(path)]
    assert [t - times[0] for t in times] == [k / rate for k in range(5)]


def test_uneven_frame_times_come_back(tmp_path: Path) -> None:
    """Variable times return to the container's resolution."""
    times = [0.0, 0.0042, 0.0083, 0.0167, 0.0209, 0.0333]
    path = write_clip(tmp_path / "a.mp4", _frames(6), container_hz=Fraction(240), times_s=times)
    back = np.array([float(f.pts * f.time_base) for f in _decoded(path)])
    assert_allclose(back - back[0], times, atol=0.5 / 90000 + 1e-9)


@pytest.mark.parametrize("turn", [90, 180, 270])
def test_rotated_film_is_stored_turned_back(turn: int, tmp_path: Path) -> None:
    """Turning the stored picture clockwise by the tag gives the upright one."""
    frames = _frames(2)
    path = write_clip(
        tmp_path / "a.mp4", frames, container_hz=Fraction(60),
        coding=Coding(crf=8, rotation_deg=turn),
    )  # fmt: skip
    frame = _decoded(path)[0]
    assert (-frame.rotation) % 360 == turn
    upright = np.rot90(_luma(frame), -turn // 90)
    assert upright.shape == (TALL_LINES, WIDE_COLUMNS)
    assert np.abs(upright - frames[0]).mean() < 2.0


def test_metadata_and_sound_are_there(tmp_path: Path) -> None:
    """The capture rate's tag comes back as text; a tone lies beside the picture."""
    coding = Coding(metadata={"com.android.capture.fps": "239.979996"}, audio=True)
    path = write_clip(tmp_path / "a.mp4", _frames(30), container_hz=Fraction(30), coding=coding)
    with av.open(str(path)) as container:
        assert container.metadata["com.android.capture.fps"] == "239.979996"
        assert len(container.streams.audio) == 1
        assert len(list(container.decode(video=0))) == 30


def test_film_without_frames_is_not_written(tmp_path: Path) -> None:
    """Nothing to write is a mistake of the caller."""
    with pytest.raises(ValueError, match="at least one frame"):
        write_clip(tmp_path / "a.mp4", [], container_hz=Fraction(30))


def test_times_must_fit_the_frames(tmp_path: Path) -> None:
    """Too many times are noticed."""
    with pytest.raises(ValueError, match="2 frames but 3 times"):
        write_clip(
            tmp_path / "a.mp4", _frames(2), container_hz=Fraction(30), times_s=[0.0, 0.1, 0.2]
        )
