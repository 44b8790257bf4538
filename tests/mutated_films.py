"""Films that somebody or something has spoilt: every kind that is read, spoilt in every way."""

from __future__ import annotations

import struct
from collections.abc import Callable, Iterator, Mapping
from fractions import Fraction
from pathlib import Path

import av
import numpy as np

from fixtures.encode import Coding, write_clip
from tests.barcode_film import barcode_film, barcode_frames
from tests.cropped_flight import cropped_flight

Rng = np.random.Generator
FOLDERS = (b"moov", b"trak", b"mdia", b"minf", b"stbl", b"moof", b"traf", b"mvex", b"edts", b"dinf")
ABSURD = (0, 1, 2, 7, 8, 9, 0xFF, 0xFFFF, 0x7FFFFFFF, 0x80000000, 0xFFFFFFFE, 0xFFFFFFFF)

# Where numbers stand behind the content of a box of ISO/IEC 14496-12, version 0.
FIELDS: Mapping[bytes, tuple[int, ...]] = {
    b"mvhd": (12, 16),  # time scale, duration
    b"tkhd": (12, 20, 40, 44, 48, 56, 76, 80),  # track, duration, matrix, width, height
    b"mdhd": (12, 16),
    b"stts": (4, 8, 12),  # entries, count, step
    b"ctts": (4, 8, 12, 20),
    b"stsz": (4, 8, 12),
    b"stsc": (4, 8, 12, 16),
    b"stco": (4, 8),
    b"stss": (4, 8),
    b"elst": (4, 8, 12, 16),
    b"stsd": (4, 8, 40, 44),  # entries, size of the first, width and height, resolution
    b"trun": (4, 8, 12, 16),
    b"tfhd": (4, 8),
    b"tfdt": (4,),
    b"trex": (4, 12, 16),
}
# Elements of Matroska (RFC 9559): clock, duration, sizes, frame time, track, cluster time.
ELEMENTS = (
    b"\x2a\xd7\xb1",
    b"\x44\x89",
    b"\xb0",
    b"\xba",
    b"\x23\xe3\x83",
    b"\xd7",
    b"\xe7",
    b"\xa3",
    b"\x1f\x43\xb6\x75",
    b"\x16\x54\xae\x6b",
    b"\xae",
    b"\x63\xa2",
)
# Headers of AVI: microseconds a frame, frames, streams, size; scale, rate, length; picture size.
AVI_FIELDS: Mapping[bytes, tuple[int, ...]] = {
    b"avih": (4, 20, 28, 36, 40),
    b"strh": (24, 28, 36, 40),
    b"strf": (4, 8, 12, 16, 24),
    b"LIST": (0,),
    b"idx1": (0,),
}


def sources(folder: Path, *, flights: bool) -> dict[str, bytes]:
    """Make one small film of each kind; with `flights` also two in which an arrow flies."""
    kinds = {
        "h264.mp4": Coding(),
        "b-frames.mp4": Coding(options={"bf": "3"}),
        "sound.mp4": Coding(audio=True),
        "turned.mp4": Coding(rotation_deg=90),
        "fps.mp4": Coding(metadata={"com.android.capture.fps": "240.0"}),
        "hevc.mp4": Coding(codec="libx265"),
        "av1.mp4": Coding(codec="libsvtav1"),
        "vp9.mp4": Coding(codec="libvpx-vp9"),
        "hevc.mov": Coding(codec="libx265", pix_fmt="yuv420p10le"),
        "h264.mov": Coding(gop=5),
        "h264.mkv": Coding(options={"bf": "2"}),
        "hevc.mkv": Coding(codec="libx265"),
        "av1.webm": Coding(codec="libsvtav1"),
        "vp9.webm": Coding(codec="libvpx-vp9"),
        "mpeg4.avi": Coding(codec="mpeg4", crf=None, bit_rate=300_000),
        "mjpeg.avi": Coding(codec="mjpeg", pix_fmt="yuvj420p", crf=None, bit_rate=900_000),
        "h264.ts": Coding(),
    }
    made = {
        name: barcode_film(folder / name, 30, coding=how).read_bytes()
        for name, how in kinds.items()
    }
    made["fragments.mp4"] = fragmented(folder / "fragments.mp4")
    if flights:
        made["flight.mp4"] = cropped_flight(folder / "flight.mp4").read_bytes()
        vp9 = Coding(codec="libvpx-vp9", crf=None, bit_rate=400_000)
        made["flight.webm"] = cropped_flight(folder / "flight.webm", vp9).read_bytes()
    return made


def fragmented(path: Path) -> bytes:
    """Write a film in fragments, as it is sent while it is filmed."""
    with av.open(str(path), "w", options={"movflags": "frag_keyframe+empty_moov"}) as container:
        stream = container.add_stream("libx264", rate=240, options={"g": "10"})
        stream.width, stream.height = 96, 64
        for frame in barcode_frames(30):
            picture = av.VideoFrame.from_ndarray(frame, format="gray").reformat(format="yuv420p")
            container.mux(stream.encode(picture))
        container.mux(stream.encode(None))
    return path.read_bytes()


def boxes(data: bytes, start: int = 0, end: int | None = None) -> Iterator[tuple[bytes, int, int]]:
    """Give kind, start and size of every box, those within boxes too."""
    end = len(data) if end is None else end
    while start + 8 <= end:
        size, kind = int.from_bytes(data[start : start + 4], "big"), data[start + 4 : start + 8]
        if size < 8 or start + size > end:
            return
        yield kind, start, size
        if kind in FOLDERS:
            yield from boxes(data, start + 8, start + size)
        start += size


def flipped(data: bytearray, rng: Rng) -> None:
    """Flip single bits, half the time among the first."""
    reach = len(data) if rng.integers(2) else min(len(data), 1500)
    for _ in range(int(rng.integers(1, 30))):
        data[int(rng.integers(reach))] ^= 1 << int(rng.integers(8))


def cut(data: bytearray, rng: Rng) -> None:
    """Leave the end away."""
    del data[int(rng.integers(1, len(data))) :]


def hole(data: bytearray, rng: Rng) -> None:
    """Leave a piece out, or fill it with zeros."""
    at, length = int(rng.integers(len(data))), int(rng.integers(1, 400))
    if rng.integers(2):
        del data[at : at + length]
    else:
        data[at : at + length] = bytes(len(data[at : at + length]))


def doubled(data: bytearray, rng: Rng) -> None:
    """Say a piece twice."""
    at, length = int(rng.integers(len(data))), int(rng.integers(1, 400))
    data[at:at] = data[at : at + length]


def overwritten(data: bytearray, rng: Rng) -> None:
    """Put an absurd number anywhere, half the time among the first."""
    reach = len(data) if rng.integers(2) else min(len(data), 1500)
    at = int(rng.integers(max(reach - 4, 1)))
    data[at : at + 4] = struct.pack(">I", ABSURD[int(rng.integers(len(ABSURD)))])


def lied(data: bytearray, rng: Rng) -> None:
    """Let a box claim another size, kind or place."""
    found = list(boxes(bytes(data)))
    if not found:
        _element(data, rng, size=True)
        return
    kind, start, size = found[int(rng.integers(len(found)))]
    match rng.integers(4):
        case 0:
            data[start : start + 4] = struct.pack(">I", ABSURD[int(rng.integers(len(ABSURD)))])
        case 1:
            wrong = max(size + int(rng.integers(-40, 40)), 0)
            data[start : start + 4] = struct.pack(">I", wrong)
        case 2:
            other = found[int(rng.integers(len(found)))][0]
            data[start + 4 : start + 8] = other if other != kind else b"free"
        case _:
            del data[start : start + size]


def misdeclared(data: bytearray, rng: Rng) -> None:
    """Put zero, absurd or random numbers where sizes, counts, rates and times are declared."""
    if data[:4] == b"\x1aE\xdf\xa3":
        _element(data, rng, size=False)
        return
    if data[:4] == b"RIFF":
        kinds, order, pairs = AVI_FIELDS, "<I", _tags(bytes(data), AVI_FIELDS)
    else:
        kinds, order = FIELDS, ">I"
        pairs = [(kind, start + 8) for kind, start, _ in boxes(bytes(data)) if kind in FIELDS]
    for _ in range(int(rng.integers(1, 3))):
        if not pairs:
            overwritten(data, rng)
            return
        kind, content = pairs[int(rng.integers(len(pairs)))]
        offsets = kinds[kind]
        at = content + offsets[int(rng.integers(len(offsets)))]
        number = int(rng.integers(2**32)) if rng.integers(3) == 0 else int(rng.choice(ABSURD))
        data[at : at + 4] = struct.pack(order, number)


def _tags(data: bytes, kinds: Mapping[bytes, tuple[int, ...]]) -> list[tuple[bytes, int]]:
    return [(kind, data.index(kind) + 4) for kind in kinds if kind in data]


def _element(data: bytearray, rng: Rng, *, size: bool) -> None:
    """Change the length of an element of Matroska, or what it holds."""
    places = []
    for mark in ELEMENTS:
        at = data.find(mark)
        while at >= 0:
            places.append(at + len(mark))
            at = data.find(mark, at + 1)
    if not places:
        overwritten(data, rng)
        return
    at = places[int(rng.integers(len(places)))]
    if at + 1 >= len(data):
        return
    if size:
        data[at] = int(rng.choice([0x01, 0x08, 0x40, 0x80, 0x81, 0x88, 0xFE, 0xFF]))
        return
    length = min(max(data[at] & 0x7F, 1), 8)
    fill = int(rng.choice([0x00, 0x01, 0x7F, 0x80, 0xFF]))
    data[at + 1 : at + 1 + length] = bytes([fill]) * length


def backwards(data: bytearray, rng: Rng) -> None:
    """Let times run backwards: steps of nothing, shuffled offsets, clusters in another order."""
    found = {kind: (start, size) for kind, start, size in boxes(bytes(data))}
    if b"ctts" in found:
        start, size = found[b"ctts"]
        for at in range(start + 20, start + size, 8):
            data[at : at + 4] = struct.pack(">i", int(rng.integers(-5000, 5000)))
    elif b"stts" in found:
        start, _ = found[b"stts"]
        wrong = int(rng.choice([0, 0xFFFFFFFF, 0x80000000]))
        data[start + 20 : start + 24] = struct.pack(">I", wrong)
    else:
        at = data.find(b"\xa3", int(rng.integers(len(data))))
        while 0 <= at < len(data) - 5:
            data[at + 3 : at + 5] = struct.pack(">h", int(rng.integers(-32768, 32767)))
            at = data.find(b"\xa3", at + int(rng.integers(50, 400)))


WAYS: tuple[Callable[[bytearray, Rng], None], ...] = (
    flipped,
    cut,
    hole,
    doubled,
    overwritten,
    lied,
    misdeclared,
    misdeclared,
    backwards,
)


def mutations(made: Mapping[str, bytes], count: int, seed: int) -> Iterator[tuple[str, bytes]]:
    """Spoil every film in turn in every way in turn; a fifth of them in two ways."""
    names = list(made)
    for number in range(count):
        rng = np.random.default_rng([seed, number])
        name = names[number % len(names)]
        data = bytearray(made[name])
        way = WAYS[number // len(names) % len(WAYS)]
        way(data, rng)
        if data and rng.integers(5) == 0:
            WAYS[int(rng.integers(len(WAYS)))](data, rng)
        yield f"{number}-{way.__name__}-{name}", bytes(data)


def crowds(made: Mapping[str, bytes]) -> Iterator[tuple[str, bytes]]:
    """Films with a hundred to thousands of streams."""
    film = made["h264.mp4"]
    start, size = next((start, size) for kind, start, size in boxes(film) if kind == b"trak")
    moov, moov_size = next((start, size) for kind, start, size in boxes(film) if kind == b"moov")
    for streams in (100, 1000, 5000):
        data = bytearray(film)
        data[start + size : start + size] = film[start : start + size] * streams
        data[moov : moov + 4] = struct.pack(">I", moov_size + size * streams)
        yield f"{streams}-streams.mp4", bytes(data)
    film = made["vp9.webm"]
    tracks = film.index(b"\x16\x54\xae\x6b")
    length = 1 + (8 - film[tracks + 4].bit_length())
    content = int.from_bytes(film[tracks + 4 : tracks + 4 + length], "big") & (
        (1 << 7 * length) - 1
    )
    entry = film[tracks + 4 + length : tracks + 4 + length + content]
    for streams in (100, 1000, 5000):
        body = entry * (1 + streams)
        sized = (len(body) | 1 << 56).to_bytes(8, "big")
        yield (
            f"{streams}-streams.webm",
            film[: tracks + 4] + sized + body + film[tracks + 4 + length + content :],
        )


def giants(folder: Path) -> Iterator[tuple[str, bytes]]:
    """Films whose pictures truly are gigantic, or claim to be by their own stream."""
    for width, height in ((16, 8208), (16384, 16), (8192, 4320)):
        dark = [np.zeros((height, width), np.uint8)] * 2
        path = write_clip(folder / f"{width}x{height}.mp4", dark, container_hz=Fraction(240))
        yield path.name, path.read_bytes()
