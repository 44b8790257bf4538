"""A film file goes in, upright 8-bit frames with their exact times come out, once and in order.

Memory does not grow with the film but for a few bytes a frame. Times are those the file gives each
frame, never number over rate: only a clock's rounding is taken off, where every time shows that it
was even before. What the pictures show is not known here.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from fractions import Fraction
from pathlib import Path
from types import TracebackType
from typing import Self

import av
import av.error

from tracker.capture import capture_rate, check_said, pace, said_by_metadata
from tracker.file_name import name_of
from tracker.ledger import Ledger
from tracker.luma import bits_of, luma_of, rgb_of, turn_of
from tracker.opening import (
    MOST_FRAMES,
    check_size,
    check_whole,
    declared_end_s,
    open_film,
    sha256_of,
)
from tracker.types import ByteArray, Clip, Frame, InputError, Message, message

SHORTER_BY = 0.02
"""Share of the declared frames that may be missing before a film counts as cut off."""

HDR_TRANSFERS = {16: "PQ", 18: "HLG"}
"""Transfer characteristics of ITU-T H.273 that make brightness steeper than ordinary video's."""

STRICT = {"err_detect": "explode"}
"""Without it the HEVC decoder hands out damaged pictures without a word."""

THREADS = min(os.cpu_count() or 1, 16)
"""Threads that decode at a time; each holds a picture. No more than there are processors: left to
itself the library takes one more, and heavy films take an eighth longer on two of them."""


class Reader:
    """Decode a film once, in order, and parts of it again.

    Parameters
    ----------
    path
        Of the film.
    capture_hz
        Rate at which the frames were taken, if a person vouches for it.

    Attributes
    ----------
    width, height
        Of the upright picture, in pixels.
    declared_frames
        What the container claims to hold, None if it makes no claim; for progress bars only.

    Raises
    ------
    InputError
        If the path is no film that can be decoded.

    Notes
    -----
    Close it, or use it in a ``with`` statement.
    """

    width: int
    height: int
    declared_frames: int | None

    def __init__(self, path: Path, *, capture_hz: Fraction | None = None) -> None:
        self._path = Path(path)
        self._said = None if capture_hz is None else check_said(Fraction(capture_hz))
        self._open()
        self._ledger = Ledger(name_of(self._path), self._stream.time_base or Fraction(0))
        self._discarded = 0
        self._clip: Clip | None = None
        self._started = False
        try:
            self._pictures = self._decode()
            with self._mishaps():
                first = next(self._pictures, None)
            if first is None:
                raise InputError("film.no_pictures", path=name_of(self._path))
            self._turn = turn_of(first)
        except BaseException:
            self.close()
            raise
        self._first: av.VideoFrame | None = first
        self._stored_size = (first.width, first.height)
        self._bits = bits_of(first)
        self._transfer = int(first.color_trc)
        self._interlaced = first.interlaced_frame
        self.width, self.height = self._turn.size(first.width, first.height)
        self.declared_frames = self._stream.frames or None

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the file."""
        self._container.close()

    def frames(self) -> Iterator[Frame]:
        """Decode the whole film; this works once.

        Yields
        ------
        Frame
            In the order of presentation, numbered from 0.

        Raises
        ------
        InputError
            If the film is cut off, damaged, or its times run backwards.
        RuntimeError
            If called a second time.
        """
        if self._started:
            raise RuntimeError("frames() was already used; segment() decodes a part again")
        self._started = True
        with self._mishaps():
            for picture in self._all_pictures():
                luma = luma_of(picture, self._turn)
                index = len(self._ledger)
                yield Frame(
                    index=index, container_time_s=self._ledger.add(picture, luma), luma=luma
                )
            self._clip = self._conclude()

    @property
    def clip(self) -> Clip:
        """What is known of the film, after `frames` came to its end.

        Raises
        ------
        RuntimeError
            Before that.
        """
        if self._clip is None:
            raise RuntimeError("the film was not decoded to its end yet")
        return self._clip

    def segment(self, first: int, last: int) -> Iterator[Frame]:
        """Decode some frames again, after `frames` came to its end.

        Parameters
        ----------
        first, last
            Frame numbers, both included; what lies outside the film is left out.

        Yields
        ------
        Frame
            The same as the first time.
        """
        times_s = self._ledger.times_s
        for index, picture in self._again(first, last):
            luma = luma_of(picture, self._turn)
            yield Frame(index=index, container_time_s=float(times_s[index]), luma=luma)

    def picture(self, index: int) -> ByteArray:
        """One frame in colour, for people's eyes, after `frames` came to its end.

        Parameters
        ----------
        index
            Frame number.

        Returns
        -------
        numpy.ndarray
            (height, width, 3) uint8 RGB, upright, read-only.

        Raises
        ------
        IndexError
            If the film has no such frame.
        """
        for _, picture in self._again(index, index):
            return rgb_of(picture, self._turn)
        raise IndexError(f"frame {index} of {self.clip.frames}")

    def _open(self) -> None:
        """Stand at the beginning of the film."""
        self._container, self._stream = open_film(self._path)
        self._stream.thread_type = "AUTO"
        self._stream.codec_context.thread_count = THREADS
        self._stream.codec_context.options = STRICT

    def _all_pictures(self) -> Iterator[av.VideoFrame]:
        """Every picture of the film, of one size and not too many."""
        first, self._first = self._first, None
        if first is not None:
            yield first
        for picture in self._pictures:
            if (picture.width, picture.height) != self._stored_size:
                raise InputError("film.size_changes", frame=len(self._ledger))
            if len(self._ledger) >= MOST_FRAMES:
                frames = len(self._ledger) + 1
                raise InputError("film.too_long", frames=frames, most_frames=MOST_FRAMES)
            check_whole(len(self._ledger) + 1, picture.width, picture.height)
            yield picture

    def _decode(self) -> Iterator[av.VideoFrame]:
        """Pictures from where the container stands."""
        for packet in self._container.demux(self._stream):
            if packet.has_sidedata("encryption_info"):
                raise InputError("film.encrypted", path=name_of(self._path))
            self._discarded += packet.is_discard
            for picture in packet.decode():
                check_size(picture.width, picture.height)
                yield picture

    def _again(self, first: int, last: int) -> Iterator[tuple[int, av.VideoFrame]]:
        """Pictures first to last, found by their times."""
        first, last = max(first, 0), min(last, self.clip.frames - 1)
        wanted = first
        for stand in (self._seek, self._reopen):
            try:
                stand(wanted)
                for picture in self._decode():
                    index = self._ledger.index_of(picture.pts)
                    if wanted > last or (index is not None and index > wanted):
                        break
                    if index == wanted:
                        yield index, picture
                        wanted += 1
            except av.error.FFmpegError:
                pass  # some films can only be decoded from their beginning
            if wanted > last:
                return
        raise InputError("film.damaged", path=name_of(self._path), frame=wanted)

    def _seek(self, index: int) -> None:
        """Stand at the key frame before a frame; some containers land behind it."""
        key = self._ledger.key_frame_before(index)
        self._container.seek(self._ledger.pts_of(key), stream=self._stream)

    def _reopen(self, _: int) -> None:
        self.close()
        self._open()

    @contextmanager
    def _mishaps(self) -> Iterator[None]:
        """Turn the decoding library's errors into one sentence."""
        try:
            yield
        except (av.error.FFmpegError, OSError, ValueError) as error:
            frame = len(self._ledger)
            raise InputError("film.damaged", path=name_of(self._path), frame=frame) from error

    def _conclude(self) -> Clip:
        """Put together what the whole film told."""
        times_s = self._ledger.times_s
        shortfall = self._shortfall(len(times_s), float(times_s[-1]))
        how = pace(times_s, float(self._stream.time_base or 0))
        hz, vouched, doubts = capture_rate(
            how.hz,
            said=self._said,
            written=said_by_metadata(self._container.metadata, self._stream.metadata),
        )
        faults = self._ledger.notes(hz or how.hz)
        return Clip(
            path=self._path,
            sha256=sha256_of(self._path),
            container=self._container.format.name,
            codec=self._stream.codec_context.codec.canonical_name,
            width=self.width,
            height=self.height,
            rotation_deg=self._turn.clockwise_deg,
            bit_depth=self._bits,
            declared_frames=self.declared_frames,
            container_times_s=self._ledger.even_times_s(how.hz),
            container_hz=how.hz,
            capture_hz=hz,
            capture_from=vouched,
            notes=(*shortfall, *faults, *self._oddities(), *how.notes(len(times_s)), *doubts),
        )

    def _shortfall(self, n: int, last_s: float) -> tuple[Message, ...]:
        """Compare what was decoded with what the container declares."""
        if self.declared_frames is not None:
            declared = self.declared_frames - self._discarded
        else:
            first_s = float(self._ledger.pts_of(0) * (self._stream.time_base or 0))
            end_s = declared_end_s(self._container, self._stream, first_s)
            declared = n if end_s is None or n < 2 else round(end_s * (n - 1) / last_s)
        if declared - n > max(SHORTER_BY * declared, 2):
            name = name_of(self._path)
            raise InputError("film.truncated", path=name, decoded=n, declared=declared)
        if self.declared_frames is not None and declared > n:
            return (message("film.shorter_than_declared", decoded=n, declared=declared),)
        return ()

    def _oddities(self) -> tuple[Message, ...]:
        """Tell what is unusual about the pictures."""
        notes = []
        if self._transfer in HDR_TRANSFERS:
            notes.append(message("film.hdr", transfer=HDR_TRANSFERS[self._transfer]))
        if self._turn.mirrored:
            notes.append(message("film.mirrored"))
        if self._interlaced:
            notes.append(message("film.interlaced"))
        return tuple(notes)
