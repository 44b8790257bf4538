"""One contract for every kind of film a phone writes: the same frames, at their exact times."""

from __future__ import annotations

import resource
import struct
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from fixtures.encode import Coding, has_encoder, write_clip
from tests.barcode_film import (
    HEIGHT,
    WIDTH,
    barcode_film,
    barcode_frame,
    barcode_frames,
    note_keys,
    number_in,
    read_whole,
)
from tracker.decode import Reader
from tracker.types import InputError

COUNT = 40
CODING_ERROR = 4.0  # mean levels; what the encoders lose at their default quality, and no more
MILLISECOND = 1.0  # Matroska's clock ticks in milliseconds

KINDS = {
    "mp4 h264": ("a.mp4", Coding()),
    "mp4 h264 with B frames": ("a.mp4", Coding(options={"bf": "3"})),
    "mp4 h264 open groups": (
        "a.mp4",
        Coding(gop=8, options={"x264-params": "open-gop=1:bframes=3"}),
    ),
    "mp4 h264 full range": ("a.mp4", Coding(pix_fmt="yuvj420p")),
    "mp4 h264 4:2:2": ("a.mp4", Coding(pix_fmt="yuv422p")),
    "mp4 h264 4:4:4": ("a.mp4", Coding(pix_fmt="yuv444p")),
    "mp4 h264 grey": ("a.mp4", Coding(pix_fmt="gray")),
    "mp4 h264 nv12": ("a.mp4", Coding(pix_fmt="nv12")),
    "mp4 h264 with sound": ("a.mp4", Coding(audio=True)),
    "mov h264": ("a.mov", Coding()),
    "mkv h264": ("a.mkv", Coding()),
    "mp4 hevc": ("a.mp4", Coding(codec="libx265")),
    "mov hevc 10 bit": ("a.mov", Coding(codec="libx265", pix_fmt="yuv420p10le")),
    "mp4 hevc 12 bit": ("a.mp4", Coding(codec="libx265", pix_fmt="yuv420p12le")),
    "webm vp9": ("a.webm", Coding(codec="libvpx-vp9")),
    "webm vp9 with sound": ("a.webm", Coding(codec="libvpx-vp9", audio=True)),
    "mp4 av1": ("a.mp4", Coding(codec="libsvtav1")),
    "mkv av1 10 bit": ("a.mkv", Coding(codec="libsvtav1", pix_fmt="yuv420p10le")),
    "avi mpeg4": ("a.avi", Coding(codec="mpeg4", crf=None, bit_rate=2_000_000)),
    "ts h264": ("a.ts", Coding()),
    "mkv rgb": ("a.mkv", Coding(codec="ffv1", pix_fmt="bgr0", crf=None)),
    "mov mjpeg": ("a.mov", Coding(codec="mjpeg", pix_fmt="yuvj422p", crf=None, bit_rate=9_000_000)),
}
FULL_RANGE = {"yuvj420p", "yuvj422p", "gray", "bgr0"}


@pytest.fixture(scope="module", params=list(KINDS), ids=lambda kind: kind.replace(" ", "-"))
def film(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Write a film of each kind that this machine can."""
    name, coding = KINDS[request.param]
    if not has_encoder(coding.codec):
        pytest.skip(f"no encoder {coding.codec}")
    return barcode_film(tmp_path_factory.mktemp("film") / name, COUNT, coding=coding)


def test_every_frame_comes_once_and_in_order(film: Path) -> None:
    """Frame k is the k-th frame that was written, and none is missing."""
    frames, clip = read_whole(film)
    assert [number_in(frame.luma) for frame in frames] == list(range(COUNT))
    assert [frame.index for frame in frames] == list(range(COUNT))
    assert clip.frames == COUNT


def test_times_are_those_of_the_file(film: Path) -> None:
    """Times follow the written ones within half a tick of the container's clock."""
    frames, clip = read_whole(film)
    tick_s = 1e-3 * MILLISECOND if film.suffix in {".mkv", ".webm"} else 1e-9
    times_s = [frame.container_time_s for frame in frames]
    np.testing.assert_allclose(times_s, np.arange(COUNT) / 240, atol=0.501 * tick_s)
    np.testing.assert_allclose(times_s, clip.container_times_s, rtol=0, atol=1.001 * tick_s)
    np.testing.assert_allclose(clip.container_times_s, np.arange(COUNT) / 240, atol=1e-9)


def test_rate_is_whole_whatever_the_clock_rounds(film: Path) -> None:
    """240 frames a second are found as exactly that, vouched for by the frame times."""
    _, clip = read_whole(film)
    assert (clip.container_hz, clip.capture_hz) == (240, 240)
    assert clip.capture_from == "frame times"
    assert clip.stretch == 1


def test_brightness_is_what_was_written(film: Path, request: pytest.FixtureRequest) -> None:
    """Ramp and cells come back in the same place and shade, 8 bits, read-only."""
    frames, clip = read_whole(film)
    _, coding = KINDS[request.node.callspec.params["film"]]
    full = coding.pix_fmt in FULL_RANGE  # the encoder was given 16 to 235 and stretched it
    assert (clip.width, clip.height) == (WIDTH, HEIGHT)
    for frame in frames:
        assert frame.luma.shape == (HEIGHT, WIDTH)
        assert frame.luma.dtype == np.uint8
        assert not frame.luma.flags.writeable
        written = barcode_frame(frame.index).astype(float)
        expected = np.clip((written - 16) * 255 / 219, 0, 255) if full else written
        assert np.abs(frame.luma - expected).mean() < CODING_ERROR


def test_a_part_decoded_again_is_the_same(film: Path) -> None:
    """Any stretch of frames comes back bit for bit, with numbers and times."""
    with Reader(film) as reader:
        whole = list(reader.frames())
        for first, last in ((0, 3), (13, 30), (36, COUNT + 5), (7, 7)):
            part = list(reader.segment(first, last))
            assert [frame.index for frame in part] == list(range(first, min(last, COUNT - 1) + 1))
            for frame in part:
                np.testing.assert_array_equal(frame.luma, whole[frame.index].luma)
                assert frame.container_time_s == whole[frame.index].container_time_s


def test_nothing_is_noted_of_a_sound_film(film: Path) -> None:
    """A whole film gives no cause for remarks."""
    assert note_keys(read_whole(film)[1]) == []


@pytest.mark.parametrize("degrees", [90, 180, 270])
@pytest.mark.parametrize("pix_fmt", ["yuv420p", "yuv420p10le"])
def test_turned_films_come_upright(tmp_path: Path, degrees: int, pix_fmt: str) -> None:
    """A phone held upright or upside down: picture, width and height as a player shows them."""
    path = tmp_path / "a.mp4"
    coding = Coding(rotation_deg=degrees, codec="libx265", pix_fmt=pix_fmt)
    # Not 64 wide: the encoder now and then spoils pictures of exactly one block in width.
    write_clip(path, barcode_frames(20, 80, 112), container_hz=Fraction(240), coding=coding)
    with Reader(path) as reader:
        assert (reader.width, reader.height) == (80, 112)
        frames = list(reader.frames())
        assert reader.clip.rotation_deg == degrees
        assert (reader.clip.width, reader.clip.height) == (80, 112)
        assert reader.picture(3).shape == (112, 80, 3)
    assert [number_in(frame.luma) for frame in frames] == list(range(20))


def corner_film(path: Path, matrix: tuple[int, ...]) -> Path:
    """Write a film bright in its stored top-left corner, its track header's matrix set by hand."""
    frame = np.full((HEIGHT, WIDTH), 50, np.uint8)
    frame[:16, :16] = 220
    write_clip(path, [frame] * 5, container_hz=Fraction(120))
    content = bytearray(path.read_bytes())
    # ISO/IEC 14496-12, 8.3.2: version 0 track header, 40 bytes of fields before the matrix.
    at = content.index(b"tkhd") + 4 + 40
    content[at : at + 36] = struct.pack(">9i", *matrix)
    path.write_bytes(content)
    return path


ONE = 1 << 16
LAST = 1 << 30


@pytest.mark.parametrize(
    ("matrix", "corner"),
    [
        # x' = a x + c y, y' = b x + d y with y down (ISO/IEC 14496-12, 6.2.2): (1, 0), right,
        # goes to (a, b); so b = 1 turns clockwise and takes the top-left corner to the right.
        ((0, ONE, 0, -ONE, 0, 0, HEIGHT * ONE, 0, LAST), "top right"),
        ((-ONE, 0, 0, 0, -ONE, 0, WIDTH * ONE, HEIGHT * ONE, LAST), "bottom right"),
        ((0, -ONE, 0, ONE, 0, 0, 0, WIDTH * ONE, LAST), "bottom left"),
        ((-ONE, 0, 0, 0, ONE, 0, WIDTH * ONE, 0, LAST), "top right"),  # a mirror
        ((ONE, 0, 0, 0, -ONE, 0, 0, HEIGHT * ONE, LAST), "bottom left"),  # upside-down mirror
        ((0, ONE, 0, ONE, 0, 0, 0, 0, LAST), "top left"),  # across the diagonal
    ],
)
def test_matrix_of_the_standard_is_obeyed(
    tmp_path: Path, matrix: tuple[int, ...], corner: str
) -> None:
    """The bright corner lands where the standard's formula puts it."""
    frames, _ = read_whole(corner_film(tmp_path / "a.mp4", matrix))
    luma = frames[0].luma
    halves = {"top": luma[:8], "bottom": luma[-8:]}
    places = {
        f"{row} {side}": float(part[:, :8].mean() if side == "left" else part[:, -8:].mean())
        for row, part in halves.items()
        for side in ("left", "right")
    }
    assert max(places, key=lambda place: places[place]) == corner


def test_mirror_is_told(tmp_path: Path) -> None:
    """A selfie film is turned back, and the person is told."""
    matrix = (-ONE, 0, 0, 0, ONE, 0, WIDTH * ONE, 0, LAST)
    _, clip = read_whole(corner_film(tmp_path / "a.mp4", matrix))
    assert "film.mirrored" in note_keys(clip)


def test_slanted_turn_is_refused(tmp_path: Path) -> None:
    """30 degrees cannot be undone without resampling."""
    c, s = round(ONE * np.cos(np.pi / 6)), round(ONE * np.sin(np.pi / 6))
    path = corner_film(tmp_path / "a.mp4", (c, s, 0, -s, c, 0, 0, 0, LAST))
    with pytest.raises(InputError, match=r"film\.odd_rotation degrees=30"):
        Reader(path)


def test_ten_bits_lose_their_lowest_two(tmp_path: Path) -> None:
    """A 10-bit film says so, and a level of 4 n comes out as n."""
    path = barcode_film(
        tmp_path / "a.mov", 12, coding=Coding(codec="libx265", pix_fmt="yuv420p10le", crf=5)
    )
    frames, clip = read_whole(path)
    assert clip.bit_depth == 10
    np.testing.assert_allclose(frames[0].luma[2], barcode_frame(0)[2], atol=2)


def test_hdr_is_told(tmp_path: Path) -> None:
    """The HLG transfer of phones (18 in ITU-T H.273) is named."""
    coding = Coding(options={"x264-params": "transfer=arib-std-b67"})
    _, clip = read_whole(barcode_film(tmp_path / "a.mp4", coding=coding))
    assert [str(note) for note in clip.notes] == ["film.hdr transfer=HLG"]


def test_interlaced_is_told(tmp_path: Path) -> None:
    """Two moments in one picture are worth a remark."""
    coding = Coding(options={"x264-params": "tff=1"})
    assert "film.interlaced" in note_keys(
        read_whole(barcode_film(tmp_path / "a.mp4", coding=coding))[1]
    )


def test_rows_longer_than_the_picture_are_cut(tmp_path: Path) -> None:
    """A width that no decoder's line length fits comes out without padding."""
    frames = barcode_frames(10, 130, 70)
    path = write_clip(tmp_path / "a.mp4", frames, container_hz=Fraction(240))
    decoded, _ = read_whole(path)
    assert decoded[0].luma.shape == (70, 130)
    assert np.abs(decoded[9].luma - barcode_frame(9, 130, 70).astype(float)).mean() < CODING_ERROR


def test_content_is_hashed(tmp_path: Path) -> None:
    """The hash is SHA-256 of the bytes, whatever the file is called."""
    path = barcode_film(tmp_path / "a.mp4", 5)
    other = tmp_path / "b.mp4"
    other.write_bytes(path.read_bytes())
    assert read_whole(path)[1].sha256 == read_whole(other)[1].sha256
    other.write_bytes(path.read_bytes() + b"\0\0\0\x08free")
    assert read_whole(path)[1].sha256 != read_whole(other)[1].sha256


def test_colours_are_given_for_people(tmp_path: Path) -> None:
    """A reddish picture comes back reddish."""
    planes = np.full((96, 96), 128, np.uint8)
    planes[:64] = 120  # luma; then Cb, Cr in rows of 96 for a 96 by 64 picture
    planes[80:] = 200
    path = write_clip(tmp_path / "a.mp4", [planes] * 5, container_hz=Fraction(240), colour=True)
    with Reader(path) as reader:
        list(reader.frames())
        red, green, blue = reader.picture(2)[32, 48].astype(int)
    assert red > 200
    assert green < 140
    assert abs(blue - 120) < 20


def test_picture_outside_the_film_is_no_picture(tmp_path: Path) -> None:
    """Asking for frame 5 of 5 is the caller's mistake."""
    with Reader(barcode_film(tmp_path / "a.mp4", 5)) as reader:
        list(reader.frames())
        with pytest.raises(IndexError, match="frame 5 of 5"):
            reader.picture(5)


def test_film_is_decoded_once(tmp_path: Path) -> None:
    """A second pass, or the clip before its end, is the caller's mistake."""
    with Reader(barcode_film(tmp_path / "a.mp4", 5)) as reader:
        with pytest.raises(RuntimeError, match="not decoded to its end"):
            _ = reader.clip
        list(reader.frames())
        with pytest.raises(RuntimeError, match="already used"):
            next(reader.frames())


@pytest.mark.skipif(not Path("/proc/self/statm").exists(), reason="needs Linux's process table")
def test_memory_does_not_grow_with_the_film(tmp_path: Path) -> None:
    """500 frames of 0.3 MB pass through less than 30 MB."""
    frames = barcode_frames(500, 640, 480)
    coding = Coding(options={"preset": "ultrafast"})
    path = write_clip(tmp_path / "a.mp4", frames, container_hz=Fraction(240), coding=coding)
    with Reader(path) as reader:
        held_mb = [resident_mb() for _ in reader.frames()]
    assert max(held_mb[60:]) - held_mb[60] < 30


def resident_mb() -> float:
    """Memory this process holds now."""
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * resource.getpagesize() / 2**20
