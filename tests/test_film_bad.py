"""What is no whole film gets one clear sentence, and never an error of the decoding library."""

from __future__ import annotations

import struct
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path

import av
import cv2
import numpy as np
import pytest

import tracker.decode
import tracker.opening
from fixtures.encode import Coding, write_clip
from tests.barcode_film import barcode_film, barcode_frame, barcode_frames, read_whole
from tracker.outline import missing_bytes
from tracker.types import InputError
from ui.words import say


def refusal(path: Path) -> str:
    """Read a film that must be refused; return the sentence's key after checking the sentence."""
    with pytest.raises(InputError) as caught:
        read_whole(path)
    sentence = say(caught.value.message)
    assert "{" not in sentence
    assert sentence.endswith(".")
    return caught.value.message.key


def sound_file(path: Path, codec: str) -> Path:
    """Write a film without pictures."""
    with av.open(str(path), "w") as container:
        stream = container.add_stream(codec, rate=48000)
        stream.layout = "mono"
        for block in range(20):
            silence = np.zeros((1, 960), np.int16)
            sound = av.AudioFrame.from_ndarray(silence, format="s16", layout="mono")
            sound.sample_rate, sound.pts = 48000, 960 * block
            container.mux(stream.encode(sound))
        container.mux(stream.encode(None))
    return path


def photo(path: Path) -> Path:
    """Write a single picture under any name."""
    suffix = path.suffix if path.suffix != ".mp4" else ".jpg"
    done, data = cv2.imencode(suffix, barcode_frame(1))
    assert done
    path.write_bytes(data.tobytes())
    return path


def written(path: Path, content: bytes) -> Path:
    """Write bytes."""
    path.write_bytes(content)
    return path


PLAYLIST = b"#EXTM3U\n#EXT-X-TARGETDURATION:9\n#EXTINF:9,\na.mp4\n#EXT-X-ENDLIST\n"
WRONG: dict[str, tuple[Callable[[Path], Path], str]] = {
    "missing path": (lambda at: at / "none.mp4", "missing_file"),
    "path of no meaning": (lambda at: at / "a\0b.mp4", "missing_file"),
    "folder": (lambda at: at, "directory"),
    "empty file": (lambda at: written(at / "e.mp4", b""), "empty_file"),
    "one byte": (lambda at: written(at / "e.mp4", b"\0"), "not_a_film"),
    "text called mp4": (
        lambda at: written(at / "t.mp4", b"arrow after arrow\n" * 99),
        "not_a_film",
    ),
    "page of the web": (
        lambda at: written(at / "p.mp4", b"<html><body></body></html>"),
        "not_a_film",
    ),
    "noise": (lambda at: written(at / "n.mp4", np.random.default_rng(5).bytes(9999)), "not_a_film"),
    "jpg": (lambda at: photo(at / "p.jpg"), "photo"),
    "png": (lambda at: photo(at / "p.png"), "photo"),
    "webp": (lambda at: photo(at / "p.webp"), "photo"),
    "tiff": (lambda at: photo(at / "p.tiff"), "photo"),
    "bmp": (lambda at: photo(at / "p.bmp"), "photo"),
    "jpg called mp4": (lambda at: photo(at / "p.mp4"), "photo"),
    "photo of a phone": (
        lambda at: written(at / "p.heic", b"\0\0\0\x18ftypheic\0\0\0\0mif1heic" + bytes(99)),
        "photo",
    ),
    "sound in m4a": (lambda at: sound_file(at / "s.m4a", "aac"), "sound_only"),
    "sound in mp4": (lambda at: sound_file(at / "s.mp4", "aac"), "sound_only"),
    "sound in webm": (lambda at: sound_file(at / "s.webm", "libopus"), "sound_only"),
    "sound in wav": (lambda at: sound_file(at / "s.wav", "pcm_s16le"), "sound_only"),
    "playlist": (lambda at: written(at / "l.m3u8", PLAYLIST), "not_a_film"),
    "playlist called mp4": (lambda at: written(at / "l.mp4", PLAYLIST), "not_a_film"),
    "script": (
        lambda at: written(at / "c.mp4", b"ffconcat version 1.0\nfile a.mp4\n"),
        "not_a_film",
    ),
}


@pytest.mark.parametrize("what", list(WRONG), ids=lambda what: what.replace(" ", "-"))
def test_what_is_no_film_is_named(tmp_path: Path, what: str) -> None:
    """Each kind of wrong file has its own sentence; none opens another file."""
    barcode_film(tmp_path / "a.mp4", 5)  # what a playlist or script would like to open
    make, key = WRONG[what]
    assert refusal(make(tmp_path)) == f"film.{key}"


def test_name_is_taken_as_a_name(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Colons and bars in a name are no protocol, and bytes of another age no error."""
    source = barcode_film(tmp_path / "a.mp4", 5).read_bytes()
    monkeypatch.chdir(tmp_path)
    for name in ("concat:a.mp4|a.mp4", "http:a.mp4", "r%d.mp4", "Flug Ä 箭.mp4"):
        _, clip = read_whole(written(Path(name), source))
        assert clip.frames == 5
    assert refusal(Path("Fl\udcfcg.mp4")) == "film.missing_file"


@pytest.mark.parametrize("share", [0.1, 0.5, 0.9, 0.99])
@pytest.mark.parametrize(
    ("name", "codec"),
    [
        ("a.mp4", "libx264"),
        ("a.mov", "libx265"),
        ("a.webm", "libvpx-vp9"),
        ("a.mkv", "libx264"),
        ("a.mp4", "libsvtav1"),
    ],
)
def test_cut_off_film_is_refused(tmp_path: Path, name: str, codec: str, share: float) -> None:
    """A copy that stopped early is named as such, wherever it stopped."""
    content = barcode_film(tmp_path / name, 60, coding=Coding(codec=codec)).read_bytes()
    path = written(tmp_path / f"cut{Path(name).suffix}", content[: int(len(content) * share)])
    assert refusal(path) in {"film.cut_off", "film.truncated"}


def test_film_with_its_index_at_the_end_cut_off(tmp_path: Path) -> None:
    """A recording that stopped before the index was written cannot be opened, and says why."""
    path = tmp_path / "a.mp4"
    with av.open(str(path), "w") as container:
        stream = container.add_stream("libx264", rate=240)
        stream.width, stream.height = 96, 64
        for frame in barcode_frames(60):
            picture = av.VideoFrame.from_ndarray(frame, format="gray").reformat(format="yuv420p")
            container.mux(stream.encode(picture))
        container.mux(stream.encode(None))
    content = path.read_bytes()
    assert content.index(b"mdat") < content.index(b"moov")
    for end in (content.index(b"moov") - 4, content.index(b"moov") + 50, len(content) - 1):
        assert refusal(written(path, content[:end])) == "film.cut_off"


def test_fewer_frames_than_declared(tmp_path: Path) -> None:
    """An index that declares 100 frames for the 60 that are there."""
    path = barcode_film(tmp_path / "a.avi", 60, coding=Coding(codec="mpeg4", crf=None))
    content = bytearray(path.read_bytes())
    for tag, offset in ((b"avih", 4 + 4 + 16), (b"strh", 4 + 4 + 32)):
        at = content.index(tag) + offset
        content[at : at + 4] = struct.pack("<I", 100)
    assert refusal(written(path, bytes(content))) == "film.truncated"


def test_rubbish_after_the_film_is_no_harm(tmp_path: Path) -> None:
    """Bytes that a copying program left behind are passed over."""
    path = barcode_film(tmp_path / "a.mp4", 20)
    for rubbish in (b"\0" * 5000, b"\xff" * 77, b"\0\0\xff\xffjunkjunk"):
        assert missing_bytes(written(tmp_path / "b.mp4", path.read_bytes() + rubbish)) == 0
        assert read_whole(tmp_path / "b.mp4")[1].frames == 20


@pytest.mark.parametrize("codec", ["libx264", "libx265", "libvpx-vp9", "libsvtav1"])
def test_damage_in_the_middle_is_refused(tmp_path: Path, codec: str) -> None:
    """A film with bytes overwritten in a predicted frame is not read as if it were whole."""
    path = barcode_film(tmp_path / "a.mp4", 60, coding=Coding(codec=codec, crf=10))
    with av.open(str(path)) as container:
        packets = [(p.pos, p.size) for p in container.demux(video=0) if p.size and p.pos]
    position, size = max(packets[15:29], key=lambda packet: packet[1])
    content = bytearray(path.read_bytes())
    # Zero length units and headers are what no decoder takes.
    content[position : position + size] = bytes([0xFF]) * size
    key = refusal(written(path, bytes(content)))
    assert key in {"film.damaged", "film.damaged_much", "film.truncated"}


def test_times_that_run_backwards_are_refused(tmp_path: Path) -> None:
    """Composition offsets that put a frame before its predecessor's time."""
    path = barcode_film(tmp_path / "a.mp4", 30, coding=Coding(options={"bf": "0"}))
    content = bytearray(path.read_bytes())
    # Turn the one time-to-sample run (30 frames of one step) into a step of zero.
    at = content.index(b"stts") + 4 + 4 + 4 + 4
    content[at : at + 4] = struct.pack(">I", 0)
    assert refusal(written(path, bytes(content))) in {"film.times_backwards", "film.no_times"}


def test_gigantic_pictures_are_refused(tmp_path: Path) -> None:
    """No camera's picture is 8,200 pixels wide."""
    dark = [np.zeros((16, 8208), np.uint8)] * 2
    path = write_clip(tmp_path / "a.mp4", dark, container_hz=Fraction(240))
    assert refusal(path) == "film.too_large"


def test_too_many_frames_are_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Declared or found, a film has an end."""
    declared = barcode_film(tmp_path / "a.mp4", 30)
    undeclared = barcode_film(tmp_path / "a.mkv", 30)
    monkeypatch.setattr(tracker.opening, "MOST_FRAMES", 20)
    monkeypatch.setattr(tracker.decode, "MOST_FRAMES", 20)
    assert refusal(declared) == "film.too_long"
    assert refusal(undeclared) == "film.too_long"


@pytest.mark.parametrize("fragmented", [False, True])
def test_absurd_tables_are_refused_before_they_cost_memory(
    tmp_path: Path, fragmented: bool
) -> None:
    """A small file whose table claims fifty million frames, in one piece or in fragments."""
    path = tmp_path / "a.mp4"
    options = {"movflags": "frag_keyframe+empty_moov"} if fragmented else {}
    with av.open(str(path), "w", options=options) as container:
        stream = container.add_stream("libx264", rate=240)
        stream.width, stream.height = 96, 64
        for frame in barcode_frames(10):
            picture = av.VideoFrame.from_ndarray(frame, format="gray").reformat(format="yuv420p")
            container.mux(stream.encode(picture))
        container.mux(stream.encode(None))
    content = bytearray(path.read_bytes())
    at = content.index(b"trun") + 8 if fragmented else content.index(b"stsz") + 12
    content[at : at + 4] = struct.pack(">I", 50_000_000)
    assert refusal(written(path, bytes(content))) == "film.too_long"


def test_boxes_within_boxes_end(tmp_path: Path) -> None:
    """A file of folders in folders, or of countless boxes in a row, is walked and refused."""
    depth = 3000
    nested = b"".join(struct.pack(">I4s", 8 * (depth - k), b"trak") for k in range(depth))
    start = b"\0\0\0\x08ftyp"
    deep = written(tmp_path / "deep.mp4", start + nested)
    assert refusal(deep) in {"film.not_a_film", "film.cut_off"}
    row = written(tmp_path / "row.mp4", start + 300_001 * b"\0\0\0\x08free")
    assert refusal(row) == "film.too_many_boxes"


def test_encrypted_film_is_refused(tmp_path: Path) -> None:
    """Common encryption (ISO/IEC 23001-7) cannot be read, and no picture is made up."""
    options = {
        "encryption_scheme": "cenc-aes-ctr",
        "encryption_key": "00112233445566778899aabbccddeeff",
        "encryption_kid": "ffeeddccbbaa99887766554433221100",
    }
    path = tmp_path / "a.mp4"
    with av.open(str(path), "w", options=options) as container:
        stream = container.add_stream("libx264", rate=240)
        stream.width, stream.height = 96, 64
        for frame in barcode_frames(20):
            picture = av.VideoFrame.from_ndarray(frame, format="gray").reformat(format="yuv420p")
            container.mux(stream.encode(picture))
        container.mux(stream.encode(None))
    assert refusal(path) == "film.encrypted"


def test_unknown_codec_is_refused(tmp_path: Path) -> None:
    """A sample entry that nobody knows."""
    path = barcode_film(tmp_path / "a.mp4", 5)
    content = path.read_bytes().replace(b"avc1\0\0\0\0\0\0\0\1", b"zzz9\0\0\0\0\0\0\0\1")
    assert refusal(written(path, content)) == "film.unknown_codec"


def test_size_may_not_change(tmp_path: Path) -> None:
    """Two films of different size in one stream."""
    large = write_clip(tmp_path / "a.ts", barcode_frames(30), container_hz=Fraction(240))
    small = write_clip(tmp_path / "b.ts", barcode_frames(30, 80, 48), container_hz=Fraction(240))
    both = written(tmp_path / "c.ts", large.read_bytes() + small.read_bytes())
    assert refusal(both) in {"film.size_changes", "film.times_backwards"}


def test_single_frame_film_is_a_film(tmp_path: Path) -> None:
    """One frame has no rate; that is for later stages to refuse."""
    _, clip = read_whole(barcode_film(tmp_path / "a.mp4", 1))
    assert (clip.frames, clip.container_hz, clip.capture_from) == (1, None, "unknown")


def test_nothing_is_printed(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    """The decoding library keeps quiet, whole film or not."""
    path = barcode_film(tmp_path / "a.mp4", 30)
    capfd.readouterr()
    read_whole(path)
    refusal(written(path, path.read_bytes()[:900]))
    refusal(written(path, b"nothing" * 50))
    assert capfd.readouterr() == ("", "")


def test_file_is_closed_after_a_refusal(tmp_path: Path) -> None:
    """A refused upload can be deleted at once, everywhere."""
    path = sound_file(tmp_path / "s.mp4", "aac")
    refusal(path)
    held = [link.readlink() for link in Path("/proc/self/fd").iterdir() if link.is_symlink()]
    assert path not in held
