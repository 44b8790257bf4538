"""A film's outline: whether the file ends where its own boxes say, and how many frames they claim.

Only lengths and counts are read, in a few short pieces, before any library is let near the file.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

from tracker.types import InputError

PROMISING = {b"mdat", b"moov", b"moof"}
"""Boxes without whose whole content frames are lost."""

STARTS = {b"ftyp", b"moov", b"mdat", b"wide", b"free", b"skip"}
"""First boxes of films of the ISO base media family."""

FOLDERS = frozenset({b"moov", b"trak", b"mdia", b"minf", b"stbl", b"moof", b"traf"})
"""Boxes that hold boxes, on the way to the counts of frames."""

MOST_BOXES = 300_000
"""More boxes than any phone writes."""


def missing_bytes(path: Path) -> int:
    """How many bytes the file's own outline promises beyond its end.

    Parameters
    ----------
    path
        Of the file.

    Returns
    -------
    int
        0 for a whole file and for one whose outline is unknown here.

    References
    ----------
    .. [1] ISO/IEC 14496-12, 4.2: boxes of 32-bit size and type; 1 means a 64-bit size follows, 0
       means to the end of the file.
    .. [2] RFC 8794 (EBML), RFC 9559 (Matroska): a header, then a segment of known or unknown size.
    """
    size = path.stat().st_size
    with path.open("rb") as file:
        head = file.read(12)
        if head[:4] == b"\x1aE\xdf\xa3":
            return max(_matroska_end(file, size) - size, 0)
        if head[4:8] in STARTS:
            return _boxes_missing(file, size)
    return 0


def most_samples(path: Path) -> tuple[int, int]:
    """How many samples the longest tables of an ISO base media file claim.

    Parameters
    ----------
    path
        Of the file.

    Returns
    -------
    tuple of int
        For tracks of pictures, and for all tracks; 0 for other kinds of file.

    Raises
    ------
    InputError
        If the file is a maze of boxes.

    References
    ----------
    .. [1] ISO/IEC 14496-12, 8.4.3 (handler), 8.7.3 (sample sizes), 8.8.8 (track run).
    """
    pictures, others, handler = 0, 0, b""
    with path.open("rb") as file:
        if file.read(8)[4:8] not in STARTS:
            return 0, 0
        for kind, content, _ in _boxes(file, path.stat().st_size, FOLDERS):
            file.seek(content)
            if kind == b"hdlr":
                handler = file.read(12)[8:12]
            elif kind == b"stsz":
                count = int.from_bytes(file.read(12)[8:12], "big")
                pictures = max(pictures, count if handler == b"vide" else 0)
                others = max(others, count)
            elif kind == b"trun":
                pictures = max(pictures, int.from_bytes(file.read(8)[4:8], "big"))
    return pictures, others


def _boxes(file: BinaryIO, size: int, enter: frozenset[bytes]) -> Iterator[tuple[bytes, int, int]]:
    """Kind, start of the content and claimed end of one box after the other, until they misfit.

    Boxes of the kinds to `enter` are followed by what is in them, the others by what is behind.
    """
    start = 0
    for _ in range(MOST_BOXES):
        if start + 8 > size:
            return
        file.seek(start)
        head = file.read(16)
        length, kind, content = int.from_bytes(head[:4], "big"), head[4:8], start + 8
        if length == 1:
            length, content = int.from_bytes(head[8:16], "big"), start + 16
        if length == 0:
            length = size - start
        if length < content - start:
            return
        yield kind, content, start + length
        start = content if kind in enter else start + length
    raise InputError("film.too_many_boxes", most_boxes=MOST_BOXES)


def _boxes_missing(file: BinaryIO, size: int) -> int:
    """Bytes promised beyond the end; a film without its index counts as one byte short."""
    indexed = False
    for kind, _, end in _boxes(file, size, frozenset()):
        indexed |= kind == b"moov"
        if end > size:
            # Other boxes that do not fit are rubbish left behind the film.
            return end - size if kind in PROMISING else 0
    return 0 if indexed else 1


def _matroska_end(file: BinaryIO, size: int) -> int:
    """Where header and segment end; 0 if the segment does not say."""
    file.seek(4)
    header = _ebml_size(file)
    if header is None or header > size:
        return 0
    file.seek(header, 1)
    if file.read(4) != b"\x18S\x80g":
        return 0
    segment = _ebml_size(file)
    return 0 if segment is None else file.tell() + segment


def _ebml_size(file: BinaryIO) -> int | None:
    """Read a variable-length number; all ones means unknown."""
    first = file.read(1)
    if not first or first[0] == 0:
        return None
    length = 9 - first[0].bit_length()
    value = first[0] & ((1 << (8 - length)) - 1)
    rest = file.read(length - 1)
    number = int.from_bytes(bytes([value]) + rest, "big")
    return None if number == (1 << (7 * length)) - 1 else number
