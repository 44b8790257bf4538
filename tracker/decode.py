"""A film file goes in, upright 8-bit frames with their exact times come out, once and in order.

Memory does not grow with the film but for eight bytes a frame. Times are those the file gives each
frame, never number over rate. What the pictures show is not known here.
"""

from __future__ import annotations

from array import array
from bisect import bisect_left
from collections.abc import Iterator
from contextlib import contextmanager
from fractions import Fraction
from pathlib import Path
from types import TracebackType
from typing import Self

import av
import av.container
import av.error
import av.video.stream
import numpy as np

from tracker.capture import capture_rate, check_said, pace, said_by_metadata
from tracker.luma import Turn, bits_of, luma_of, rgb_of, turn_of
from tracker.opening import MOST_FRAMES, check_size, open_film, sha256_of
from tracker.types import ByteArray, Clip, Frame, InputError, Message, message

SHORTER_BY = 0.02
"""Share of the declared frames that may be missing before a film counts as cut off."""

FILLED_TIMES = 0.05
"""Share of frames without a time of their own that a film may have."""

HDR_TRANSFERS = {16: "PQ", 18: "HLG"}
"""Transfer characteristics of ITU-T H.273 that make brightness steeper than ordinary video's."""


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
        self._container, self._stream = open_film(self._path)
        self._pts = array("q")
        self._keys = array("q")
        self._discarded = 0
        self._filled = 0
        self._damaged = 0
        self._clip: Clip | None = None
        self._started = False
        try:
            self._stream.thread_type = "AUTO"
            self._pictures = self._decode()
            with self._mishaps():
                first = next(self._pictures, None)
            if first is None:
                raise InputError("film.no_pictures", path=self._path.name)
            self._first: av.VideoFrame | None = first
            self._turn: Turn = turn_of(first)
            self._stored_size = (first.width, first.height)
            self._bits = bits_of(first)
            self._transfer = int(first.color_trc)
        except BaseException:
            self.close()
            raise
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
        base = self._stream.time_base
        tick = float(base) if base else 0.0
        with self._mishaps():
            for picture in self._all_pictures():
                index = len(self._pts)
                self._note_time(picture, index)
                yield Frame(
                    index=index,
                    container_time_s=(self._pts[index] - self._pts[0]) * tick,
                    luma=luma_of(picture, self._turn),
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
        tick = float(self._stream.time_base or 0)
        for index, picture in self._again(first, last):
            yield Frame(
                index=index,
                container_time_s=(self._pts[index] - self._pts[0]) * tick,
                luma=luma_of(picture, self._turn),
            )

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
        raise IndexError(f"frame {index} of {len(self._pts)}")

    def _all_pictures(self) -> Iterator[av.VideoFrame]:
        if self._first is not None:
            first, self._first = self._first, None
            yield first
        for picture in self._pictures:
            if (picture.width, picture.height) != self._stored_size:
                raise InputError("film.size_changes", frame=len(self._pts))
            if len(self._pts) >= MOST_FRAMES:
                raise InputError("film.too_long", frames=len(self._pts), most_frames=MOST_FRAMES)
            yield picture

    def _decode(self) -> Iterator[av.VideoFrame]:
        """Pictures from where the container stands."""
        for packet in self._container.demux(self._stream):
            self._discarded += packet.is_discard
            for picture in packet.decode():
                check_size(picture.width, picture.height)
                yield picture

    def _note_time(self, picture: av.VideoFrame, index: int) -> None:
        """Remember the frame's time; a missing one follows its neighbours' step."""
        pts = picture.pts
        if pts is None:
            if index < 2:
                raise InputError("film.no_times", path=self._path.name)
            steps = np.diff(np.frombuffer(self._pts[-32:], dtype=np.int64))
            pts = self._pts[-1] + max(round(float(np.median(steps))), 1)
            self._filled += 1
        if index and pts <= self._pts[-1]:
            raise InputError("film.times_backwards", frame=index)
        self._pts.append(pts)
        if picture.key_frame:
            self._keys.append(index)
        self._damaged += picture.is_corrupt

    def _again(self, first: int, last: int) -> Iterator[tuple[int, av.VideoFrame]]:
        """Pictures first to last, found by their times from the key frame before them."""
        if self._clip is None:
            raise RuntimeError("the film was not decoded to its end yet")
        first, last = max(first, 0), min(last, len(self._pts) - 1)
        if first > last:
            return
        key = max((k for k in self._keys if k <= first), default=0)
        wanted = first
        with self._mishaps():
            for start in (self._pts[key], self._pts[0]):
                self._container.seek(start, stream=self._stream, backward=True)
                for picture in self._decode():
                    index = self._index_of(picture.pts)
                    if index is None or index < wanted:
                        continue
                    if index > wanted:
                        break  # the seek landed too late: once more from the beginning
                    yield index, picture
                    wanted += 1
                    if wanted > last:
                        return
        raise InputError("film.damaged", path=self._path.name, frame=wanted)

    def _index_of(self, pts: int | None) -> int | None:
        if pts is None:
            return None
        index = bisect_left(self._pts, pts)
        return index if index < len(self._pts) and self._pts[index] == pts else None

    @contextmanager
    def _mishaps(self) -> Iterator[None]:
        """Turn the decoding library's errors into one sentence."""
        try:
            yield
        except (av.error.FFmpegError, OSError, ValueError) as error:
            raise InputError("film.damaged", path=self._path.name, frame=len(self._pts)) from error

    def _conclude(self) -> Clip:
        """Put together what the whole film told."""
        n = len(self._pts)
        tick = float(self._stream.time_base or 0)
        pts = np.array(self._pts, dtype=np.float64)
        times_s = (pts - pts[0]) * tick
        how = pace(times_s, tick)
        hz, vouched, doubts = capture_rate(
            how.hz,
            said=self._said,
            written=said_by_metadata(self._container.metadata, self._stream.metadata),
        )
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
            container_times_s=times_s,
            container_hz=how.hz,
            capture_hz=hz,
            capture_from=vouched,
            notes=(*self._shortfall(n), *self._oddities(n), *how.notes(n), *doubts),
        )

    def _shortfall(self, n: int) -> tuple[Message, ...]:
        """Compare decoded with declared frames."""
        if self.declared_frames is None:
            return ()
        declared = self.declared_frames
        missing = declared - self._discarded - n
        if missing > max(SHORTER_BY * declared, 2):
            raise InputError("film.truncated", path=self._path.name, decoded=n, declared=declared)
        if missing > 0:
            return (message("film.shorter_than_declared", decoded=n, declared=declared),)
        return ()

    def _oddities(self, n: int) -> tuple[Message, ...]:
        """Tell what else a person should know; refuse what cannot be trusted."""
        notes = []
        if self._filled > FILLED_TIMES * n:
            raise InputError("film.no_times", path=self._path.name)
        if self._filled:
            notes.append(message("film.times_filled", filled=self._filled, frames=n))
        if self._damaged > SHORTER_BY * n:
            raise InputError("film.damaged", path=self._path.name, frame=n - 1)
        if self._damaged:
            notes.append(message("film.damaged_frames", damaged=self._damaged, frames=n))
        if self._transfer in HDR_TRANSFERS:
            notes.append(message("film.hdr", transfer=HDR_TRANSFERS[self._transfer]))
        if self._turn.mirrored:
            notes.append(message("film.mirrored"))
        return tuple(notes)
