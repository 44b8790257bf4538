"""Still pictures of a flight: the nock's path on the scene, and the strobe picture.

A scene without the arrow, frames and a track go in; PNG or JPEG comes out.
"""

from __future__ import annotations

from collections.abc import Mapping

import cv2
import numpy as np

from tracker.types import ByteArray, FloatArray, Track

_PATH, _HALO, _ENDS = (255, 140, 40), (0, 0, 0), (64, 160, 255)
_LEAST_CROP_PX = 160


def path_picture(plate: ByteArray, track: Track) -> bytes:
    """Draw the nock's path on the scene.

    Parameters
    ----------
    plate
        (height, width) the scene without the arrow, in the track's coordinates.
    track
        The path.

    Returns
    -------
    bytes
        JPEG; a ring where the path begins, a cross where it ends.
    """
    picture = np.ascontiguousarray(np.repeat(plate[:, :, None], 3, axis=2))
    points = track.xy_px[track.seen]
    if len(points):
        unit = max(1, round(plate.shape[1] / 640))
        fixed = np.round(points * 16).astype(np.int32)
        for shade, width in ((_HALO, 4 * unit), (_PATH, 2 * unit)):
            cv2.polylines(picture, [fixed], False, shade, width, cv2.LINE_AA, shift=4)
        first, last = points[0].round().astype(int), points[-1].round().astype(int)
        for shade, width in ((_HALO, 4 * unit), (_ENDS, 2 * unit)):
            cv2.circle(picture, tuple(first.tolist()), 10 * unit, shade, width, cv2.LINE_AA)
            cv2.drawMarker(
                picture,
                tuple(last.tolist()),
                shade,
                cv2.MARKER_TILTED_CROSS,
                16 * unit,
                width,
                cv2.LINE_AA,
            )
    return _jpeg(picture)


def scene_picture(plate: ByteArray) -> bytes:
    """Show the scene where no flight was found.

    Parameters
    ----------
    plate
        (height, width) the scene.

    Returns
    -------
    bytes
        JPEG.
    """
    return _jpeg(np.repeat(plate[:, :, None], 3, axis=2))


def strobe_picture(
    plate: ByteArray, frames: Mapping[int, ByteArray], track: Track, *, side_px: int = 720
) -> bytes:
    """Put every n-th arrow of a flight on one still, cut to the flight and enlarged.

    Parameters
    ----------
    plate
        (height, width) the scene without the arrow, in the track's coordinates.
    frames
        Raw brightness by frame number.
    track
        Where the nock is in each.
    side_px
        Longest side of the result.

    Returns
    -------
    bytes
        JPEG. Arrows are taken one tail's width apart or more, so that they do not cover each other.
    """
    still = plate.astype(np.float32)
    for number in chosen_frames(track, frames):
        _paste(still, plate, frames[number], track, number)
    left, top, right, bottom = _flight_box(track, plate.shape)
    cut = np.clip(still[top:bottom, left:right], 0, 255).astype(np.uint8)
    factor = side_px / max(cut.shape)
    big = cv2.resize(cut, None, fx=factor, fy=factor, interpolation=cv2.INTER_CUBIC)
    return _jpeg(np.repeat(big[:, :, None], 3, axis=2))


def chosen_frames(track: Track, frames: Mapping[int, ByteArray]) -> list[int]:
    """Choose frames in which the arrow stands clear of the one chosen before.

    Parameters
    ----------
    track
        The path.
    frames
        What can be chosen from.

    Returns
    -------
    list of int
        Frame numbers; the first and the last seen are among them.
    """
    seen = [int(n) for n in np.flatnonzero(track.seen) if int(n) in frames]
    chosen: list[int] = []
    for number in seen:
        size = track.tail_px[number]
        apart = max(3.0, float(size) if np.isfinite(size) else 3.0)
        moved = not chosen or _distance(track, chosen[-1], number) >= apart
        if moved or number == seen[-1]:
            chosen.append(number)
    return chosen


def _distance(track: Track, one: int, other: int) -> float:
    return float(np.hypot(*(track.xy_px[other] - track.xy_px[one])))


def _paste(
    still: FloatArray | np.ndarray[tuple[int, ...], np.dtype[np.float32]],
    plate: ByteArray,
    luma: ByteArray,
    track: Track,
    number: int,
) -> None:
    """Lay one arrow over the still, where its frame differs from the scene."""
    height, width = plate.shape
    shake = track.shake_px[number]
    moved = np.array([[1.0, 0.0, -shake[0]], [0.0, 1.0, -shake[1]]])
    aligned = cv2.warpAffine(luma, moved, (width, height), borderMode=cv2.BORDER_REPLICATE)
    size = track.tail_px[number]
    radius = 3.0 * max(4.0, float(size) if np.isfinite(size) else 4.0)
    x, y = track.xy_px[number]
    left, right = max(0, int(x - radius)), min(width, int(x + radius) + 2)
    top, bottom = max(0, int(y - radius)), min(height, int(y + radius) + 2)
    if left >= right or top >= bottom:
        return
    here = np.s_[top:bottom, left:right]
    rows, columns = np.mgrid[top:bottom, left:right]
    from_nock = np.hypot(columns - x, rows - y) / radius
    fresh = aligned[here].astype(np.float32)
    unlike = np.abs(fresh - plate[here].astype(np.float32))
    # Chosen here: a difference of 8 grey levels is noise, of 28 surely the arrow.
    share = np.clip((unlike - 8.0) / 20.0, 0.0, 1.0) * np.clip(3.0 - 3.0 * from_nock, 0.0, 1.0)
    still[here] = share * fresh + (1.0 - share) * still[here]


def _flight_box(track: Track, shape: tuple[int, ...]) -> tuple[int, int, int, int]:
    """Box around the flight with a margin, inside the picture."""
    height, width = shape[:2]
    points = track.xy_px[track.seen]
    if not len(points):
        return 0, 0, width, height
    low, high = points.min(axis=0), points.max(axis=0)
    middle = (low + high) / 2
    half = np.maximum((high - low) * 0.65, _LEAST_CROP_PX / 2)
    half = np.maximum(half, half.max() * 0.6)
    left, top = np.maximum(0, np.floor(middle - half)).astype(int)
    right, bottom = np.minimum((width, height), np.ceil(middle + half)).astype(int)
    return int(left), int(top), max(int(right), int(left) + 2), max(int(bottom), int(top) + 2)


def _jpeg(picture: ByteArray) -> bytes:
    done, data = cv2.imencode(".jpg", cv2.cvtColor(picture, cv2.COLOR_RGB2BGR), [1, 88])
    if not done:
        raise RuntimeError("the picture could not be written")
    return bytes(data)
