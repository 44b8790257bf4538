"""Brightness of a decoded picture, upright, with 8 bits: what the tracker looks at.

Brightness is handed out as the file stores it: limited range stays limited, and a picture with
more than 8 bits loses the lowest ones.
"""

from __future__ import annotations

import struct
from collections.abc import Iterable
from dataclasses import dataclass
from typing import cast

import av
import cv2
import numpy as np
from av.sidedata.sidedata import SideData, Type

from tracker.types import ByteArray, InputError

BRIGHTNESS_FIRST = ("yuv", "nv", "gray", "p0", "p2", "p4")
"""Families of pixel formats whose first plane is the brightness alone."""

NOT_PLANAR = ("yuyv", "yvyu", "uyvy", "yuv411p_packed")
CODES = {
    90: cv2.ROTATE_90_CLOCKWISE,
    180: cv2.ROTATE_180,
    270: cv2.ROTATE_90_COUNTERCLOCKWISE,
}
HIGH_BITS_FIRST = ("p0", "p2", "p4")
"""Formats that keep their bits at the top of the 16."""


@dataclass(frozen=True, kw_only=True)
class Turn:
    """What makes a stored picture upright: a mirror, then quarter turns.

    Attributes
    ----------
    clockwise_deg
        0, 90, 180 or 270.
    mirrored
        True if left and right change places before the turn.
    """

    clockwise_deg: int = 0
    mirrored: bool = False

    def apply(self, picture: ByteArray) -> ByteArray:
        """Turn a (height, width) or (height, width, 3) picture; itself where it is upright."""
        if self.mirrored:
            picture = cv2.flip(picture, 1).astype(np.uint8, copy=False)
        if self.clockwise_deg:
            picture = cv2.rotate(picture, CODES[self.clockwise_deg]).astype(np.uint8, copy=False)
        return picture

    def size(self, width: int, height: int) -> tuple[int, int]:
        """Width and height after the turn."""
        return (height, width) if self.clockwise_deg in {90, 270} else (width, height)


def turn_of(frame: av.VideoFrame) -> Turn:
    """Read the display matrix that came with a picture.

    Parameters
    ----------
    frame
        Decoded picture.

    Returns
    -------
    Turn
        The nearest quarter turn.

    Raises
    ------
    InputError
        If the matrix is no turn by quarters: the film would have to be resampled.

    References
    ----------
    .. [1] ISO/IEC 14496-12, track header: x' = a x + c y, y' = b x + d y with y downwards; the
       matrix is stored as a, b, u, c, d, v, x, y, w, 16.16 fixed point but for u, v, w.
    """
    with_it = cast("Iterable[SideData]", frame.side_data)
    matrices = [data for data in with_it if data.type is Type.DISPLAYMATRIX]
    if not matrices:
        return Turn()
    a, b, _, c, d, *_ = struct.unpack("=9i", bytes(matrices[0])[:36])
    mirrored = a * d - b * c < 0
    if mirrored:  # x was negated first, so its column is
        a, b = -a, -b
    degrees = np.degrees(np.arctan2(b, a))
    quarters = round(degrees / 90)
    if (a, b, c, d) == (0, 0, 0, 0) or abs(degrees - 90 * quarters) > 1:
        raise InputError("film.odd_rotation", degrees=round(float(degrees)))
    return Turn(clockwise_deg=90 * (quarters % 4), mirrored=mirrored)


def bits_of(frame: av.VideoFrame) -> int:
    """Bits of brightness in the file."""
    return frame.format.components[0].bits if frame.format.components else 8


def luma_of(frame: av.VideoFrame, turn: Turn) -> ByteArray:
    """Take the brightness out of a decoded picture.

    Parameters
    ----------
    frame
        Decoded picture in any pixel format.
    turn
        What makes it upright.

    Returns
    -------
    numpy.ndarray
        (height, width) uint8, upright, read-only. Where it can, it shares the decoder's memory
        (and keeps it alive): pixels lie side by side, rows may lie apart.
    """
    luma = turn.apply(_stored_luma(frame))
    luma.setflags(write=False)
    return luma


def rgb_of(frame: av.VideoFrame, turn: Turn) -> ByteArray:
    """Colours of a decoded picture, for people's eyes.

    Parameters
    ----------
    frame, turn
        As for `luma_of`.

    Returns
    -------
    numpy.ndarray
        (height, width, 3) uint8, upright, read-only.
    """
    rgb = np.asarray(frame.to_ndarray(format="rgb24"), dtype=np.uint8)
    upright = turn.apply(rgb)
    upright.setflags(write=False)
    return upright


def _stored_luma(frame: av.VideoFrame) -> ByteArray:
    """(height, width) uint8 as stored."""
    name = frame.format.name
    plane = frame.planes[0]
    bits = bits_of(frame)
    planar = name.startswith(BRIGHTNESS_FIRST) and not name.startswith(NOT_PLANAR)
    if not planar or plane.line_size <= 0 or not 8 <= bits <= 16 or "f" in name.removeprefix("yuv"):
        return np.array(frame.to_ndarray(format="gray"), dtype=np.uint8)
    if bits == 8:
        lines: ByteArray = np.frombuffer(memoryview(plane), dtype=np.uint8)
        lines = lines.reshape(-1, plane.line_size)
        return lines[: frame.height, : frame.width]
    order = np.dtype(">u2" if name.endswith("be") else "<u2")
    wide = np.frombuffer(memoryview(plane), dtype=order).reshape(-1, plane.line_size // 2)
    shift = 8 if name.startswith(HIGH_BITS_FIRST) else bits - 8
    # Into place at once: no wide picture in between.
    luma = np.empty((frame.height, frame.width), np.uint8)
    np.right_shift(wide[: frame.height, : frame.width], shift, out=luma, casting="unsafe")
    return luma
