"""A film as a coach makes it, with seconds of waiting about a short flight, at little cost.

The waiting before and after is a second's fraction that is encoded once and whose packets are
written again and again: the decoder has to decode every frame, nobody had to draw or encode it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import av
import numpy as np
from av.video.frame import PictureType
from av.video.stream import VideoStream

from fixtures.render import Rendered
from tracker.types import ByteArray

LOOP = 24
"""Frames of waiting that are repeated: a tenth of a second at 240."""


@dataclass(frozen=True, kw_only=True, eq=False)
class LongFilm:
    """A written film.

    Attributes
    ----------
    path
        Of the file.
    frames
        How many it holds.
    shown
        (frames,) which rendered frame each shows.
    """

    path: Path
    frames: int
    shown: np.ndarray


def write_long_film(path: Path, film: Rendered, *, before: int, after: int, crf: int) -> LongFilm:
    """Write a rendered flight with much more waiting than was rendered.

    Parameters
    ----------
    path
        Ending in mp4.
    film
        Starts with at least `LOOP` frames of waiting and ends with as many of standstill.
    before, after
        How often the first and the last `LOOP` frames are shown.
    crf
        The encoder's constant quality: less keeps more of the noise, as phones do, and makes each
        frame dearer to decode.

    Returns
    -------
    LongFilm

    Raises
    ------
    ValueError
        If the flight is too near to an end of the rendered film.
    """
    n = len(film)
    if film.truth.release_frame < LOOP + 6 or n - film.truth.impact_frame < LOOP + 2:
        raise ValueError(
            f"the flight must begin after frame {LOOP + 6} and leave {LOOP} at the end"
        )
    parts = (range(LOOP), range(LOOP, n - LOOP), range(n - LOOP, n))
    hz = film.plan.camera.capture_hz
    with av.open(str(path), "w", options={"movflags": "+faststart"}) as container:
        options = {"preset": "veryfast", "crf": str(crf), "forced-idr": "1"}
        stream = container.add_stream("libx264", rate=hz, options=options)
        stream.width, stream.height = film.plan.camera.width_px, film.plan.camera.height_px
        stream.pix_fmt = "yuv420p"
        context = stream.codec_context
        context.gop_size, context.max_b_frames, context.thread_count = 250, 0, 1
        context.time_base = 1 / hz
        packets = list(_packets(stream, film.frames(), {part.start for part in parts}))
        if len(packets) != n:
            raise ValueError(f"{n} frames became {len(packets)} packets")
        order = np.concatenate([np.tile(parts[0], before), parts[1], np.tile(parts[2], after)])
        for place, number in enumerate(order.tolist()):
            content, key = packets[number]
            packet = av.Packet(content)
            packet.stream = stream
            packet.time_base = 1 / hz
            packet.pts = packet.dts = place
            packet.duration = 1
            packet.is_keyframe = key
            container.mux(packet)
    return LongFilm(path=path, frames=len(order), shown=order)


def _packets(
    stream: VideoStream, frames: Iterator[ByteArray], key_frames: set[int]
) -> Iterator[tuple[bytes, bool]]:
    """Encode frames, with key frames where asked for."""
    for number, luma in enumerate(frames):
        grey = np.full((luma.shape[0] // 2, luma.shape[1]), 128, np.uint8)
        picture = av.VideoFrame.from_ndarray(np.concatenate([luma, grey]), format="yuv420p")
        picture.pts = number
        picture.time_base = stream.codec_context.time_base
        if number in key_frames:
            picture.pict_type = PictureType.I
        yield from ((bytes(p), p.is_keyframe) for p in stream.encode(picture))
    yield from ((bytes(p), p.is_keyframe) for p in stream.encode(None))
