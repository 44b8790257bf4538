"""Frames and a path go in, the pixels around the tail come out, with scene and noise beneath it.

The scene under the tail is the median of frames near in time in which the tail is elsewhere, so a
bow that still moves, or a camera that does, is subtracted as it stands at that moment.
"""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt

from tracker.footage import Box, Footage
from tracker.tail import Patch
from tracker.types import ByteArray, FloatArray

NEAREST = 10
"""Frames the scene is taken from: half of their noise adds to each pixel's (chosen here)."""

FEWEST = 4
"""Fewer frames than this do not tell the scene (chosen here)."""

NOISE_STEP, NOISE_ROWS = 3, 20
"""The noise is measured in every third pixel each way, plenty for a dozen brightnesses, of so many
frames."""

KERNEL_PX = 2
"""Beyond a place, pixels from which its brightness is interpolated."""

RIM_PX = 2
"""Pixels at the picture's rim that are not looked at: shake has not shown what lies beneath."""

LEAST_REACH = 0.4
"""Share of a patch that must lie about the tail on each side, where the rest is out of the
picture (chosen here)."""

LEAST_VARIANCE = 0.7
"""Of a pixel: rounding, and what compression smooths away without showing it (chosen here)."""


class Strip:
    """The part of the picture along a path, camera shake removed.

    Parameters
    ----------
    footage
        The frames.
    box
        x0, y0, x1, y1 in reference coordinates; clipped to the picture. The noise is measured in
        it.
    before
        How many frames, from the first, show no flight: the noise is measured in them.

    Attributes
    ----------
    variance_at
        (256,) variance of a pixel's noise by its brightness.
    """

    def __init__(self, footage: Footage, box: Box, before: int) -> None:
        self.footage = footage
        self._beneath: dict[
            tuple[int, ...], tuple[npt.NDArray[np.float32], npt.NDArray[np.float32]]
        ] = {}
        x0, y0 = max(box[0], 0), max(box[1], 0)
        x1, y1 = min(box[2], footage.width), min(box[3], footage.height)
        size = (max((x1 - x0) // NOISE_STEP, 1), max((y1 - y0) // NOISE_STEP, 1))
        rows = range(max(0, before - NOISE_ROWS), before)
        quiet = [self._window(k, x0, y0, size, step=NOISE_STEP) for k in rows]
        self.variance_at = _noise_by_level(np.stack([one for one in quiet if one is not None]))

    def _window(
        self, row: int, x0: int, y0: int, size: tuple[int, int], step: int = 1
    ) -> ByteArray | None:
        """Draw a part of a frame, (height, width) = size[::-1], in reference coordinates.

        None if not all of it was kept; beyond the picture its rim is carried on.
        """
        matrix, part = self.footage.motion(row).matrix.copy(), self.footage.part(row)
        matrix[:, 2] += matrix[:, :2] @ np.array([x0, y0], dtype=np.float64)
        matrix[:, :2] *= step
        h, w = part.luma.shape
        if (w, h) != self.footage.size:
            far = matrix[:, :2] @ np.array([[0, size[0], 0, size[0]], [0, 0, size[1], size[1]]])
            low = np.floor(far.min(axis=1) + matrix[:, 2]) - KERNEL_PX
            high = np.ceil(far.max(axis=1) + matrix[:, 2]) + KERNEL_PX
            low, high = np.maximum(low, 0), np.minimum(high, self.footage.size)
            if (low < (part.x0, part.y0)).any() or (high > (part.x0 + w, part.y0 + h)).any():
                return None
        matrix[:, 2] -= (part.x0, part.y0)
        return np.asarray(
            cv2.warpAffine(
                part.luma,
                matrix,
                size,
                flags=cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP,
                borderMode=cv2.BORDER_REPLICATE,
            ),
            dtype=np.uint8,
        )

    def beneath(
        self, x: int, y: int, reach: int, rows: list[int]
    ) -> tuple[npt.NDArray[np.float32], npt.NDArray[np.float32]] | None:
        """Give the scene around a pixel, and its variance, from some frames; None if too few tell.

        Kept, since a place found again is mostly the same pixel.
        """
        key = (x, y, reach, *rows)
        if key not in self._beneath:
            size = (2 * reach + 1, 2 * reach + 1)
            drawn = [self._window(k, x - reach, y - reach, size) for k in rows]
            told = [one for one in drawn if one is not None]
            if len(told) < FEWEST:
                return None
            self._beneath[key] = _scene(np.stack(told), self.variance_at)
        return self._beneath[key]


def _noise_by_level(quiet: ByteArray) -> FloatArray:
    """Fit variance = a + b * level to the differences of neighbouring quiet frames."""
    if len(quiet) < 3:
        return np.full(256, 4.0)
    level = quiet.mean(axis=0)
    change = np.diff(quiet.astype(np.float64), axis=0)
    # median of squares of a Gaussian is 0.4549 of its variance; a difference has twice that
    var = np.median(change**2, axis=0) / 0.4549 / 2
    bins = np.clip(level / 16, 0, 15).astype(int).ravel()
    count = np.bincount(bins, minlength=16)
    mean = np.bincount(bins, var.ravel(), minlength=16) / np.maximum(count, 1)
    use = count > 20
    if use.sum() >= 3:
        root = np.sqrt(count[use])
        centre = 16 * np.nonzero(use)[0] + 8.0
        basis = np.stack([np.ones_like(centre), centre], axis=1)
        a, b = np.linalg.lstsq(basis * root[:, None], mean[use] * root, rcond=None)[0]
        floor = max(float(np.min(mean[use])) * 0.7, LEAST_VARIANCE)
        return np.asarray(np.maximum(a + max(b, 0.0) * np.arange(256), floor))
    return np.full(256, max(float(var.mean()), LEAST_VARIANCE))


def cut_patch(
    strip: Strip,
    row: int,
    path_px: FloatArray,
    half: int,
    depth_s: float,
    speed_px_s: FloatArray,
    newest: int,
) -> Patch | None:
    """Cut the pixels around the tail out of one raw frame, with the scene beneath.

    Parameters
    ----------
    strip
        Stabilised frames.
    row
        Number of the frame in the window.
    path_px
        (n, 2) expected place of the tail in every frame of the window, NaN before the flight.
    half
        Half the side of the patch.
    depth_s, speed_px_s
        See `Patch`.
    newest
        Last frame of the window to take the scene from; after it the arrow may stand still.

    Returns
    -------
    Patch or None
        None where the tail is too near the edge of the picture, or what was kept of it ends.
    """
    at, footage = path_px[row], strip.footage
    part, motion = footage.part(row), footage.motion(row)
    cx, cy = (np.round(motion.to_raw(at[None])[0]).astype(int)).tolist()
    # near the picture's rim less of what surrounds the tail will do
    x0, x1 = max(cx - half, RIM_PX), min(cx + half, footage.width - 1 - RIM_PX)
    y0, y1 = max(cy - half, RIM_PX), min(cy + half, footage.height - 1 - RIM_PX)
    if min(cx - x0, x1 - cx, cy - y0, y1 - cy) < LEAST_REACH * half:
        return None
    h, w = part.luma.shape
    if min(x0 - part.x0, y0 - part.y0, part.x0 + w - 1 - x1, part.y0 + h - 1 - y1) < 0:
        return None
    sx, sy = (np.round(at).astype(int)).tolist()
    reach = half + 4
    others = _elsewhere(path_px, row, 1.3 * half, footage.first_kept, newest)
    under = strip.beneath(sx, sy, reach, others) if len(others) >= FEWEST else None
    if under is None:
        return None
    scene_ref, var_ref = under
    xs, ys = np.arange(x0, x1 + 1.0), np.arange(y0, y1 + 1.0)
    # from a pixel of the patch to the scene's
    matrix = np.linalg.inv(np.vstack([motion.matrix, [0.0, 0.0, 1.0]]))[:2]
    matrix[:, 2] += matrix[:, :2] @ (x0, y0) - (sx - reach, sy - reach)
    size = (len(xs), len(ys))
    scene = _drawn(scene_ref, matrix, size, cv2.INTER_CUBIC)
    var = _drawn(var_ref, matrix, size, cv2.INTER_LINEAR)
    if not (np.isfinite(scene).all() and np.isfinite(var).all()):
        return None
    return Patch(
        row=row,
        x_px=xs,
        y_px=ys,
        picture=part.luma[y0 - part.y0 : y1 + 1 - part.y0, x0 - part.x0 : x1 + 1 - part.x0].astype(
            np.float64
        ),
        scene=np.asarray(scene, dtype=np.float64),
        weight=1 / np.maximum(np.asarray(var, dtype=np.float64), LEAST_VARIANCE),
        depth_s=depth_s,
        speed_px_s=speed_px_s,
    )


def _drawn(
    picture: npt.NDArray[np.float32], matrix: FloatArray, size: tuple[int, int], how: int
) -> npt.NDArray[np.float32]:
    """Draw a part, (width, height), whose pixels lie in a picture where a (2, 3) matrix says."""
    return np.asarray(
        cv2.warpAffine(
            picture,
            matrix,
            size,
            flags=how | cv2.WARP_INVERSE_MAP,
            borderMode=cv2.BORDER_REPLICATE,
        ),
        dtype=np.float32,
    )


def _elsewhere(
    path_px: FloatArray, row: int, away_px: float, oldest: int, newest: int
) -> list[int]:
    """Choose the frames nearest in time in which the tail is not at its place of `row`."""
    gap = np.linalg.norm(path_px - path_px[row], axis=1)
    free = ~(gap < away_px)
    free[:oldest] = free[newest + 1 :] = False
    rows = np.nonzero(free)[0]
    nearest: list[int] = rows[np.argsort(np.abs(rows - row), kind="stable")[:NEAREST]].tolist()
    return nearest


def _scene(
    beneath: ByteArray, variance_at: FloatArray
) -> tuple[npt.NDArray[np.float32], npt.NDArray[np.float32]]:
    """Median of frames, and the variance of a new frame about it."""
    stack = beneath.astype(np.float32)
    middle = _middle(stack)
    spread = _middle(np.abs(stack - middle))
    # own scatter of the few frames, lent by neighbours; never below the sensor's own noise
    scatter = cv2.blur((1.4826 * spread) ** 2, (3, 3))
    sensor = variance_at[np.clip(np.round(middle), 0, 255).astype(int)].astype(np.float32)
    wild = np.maximum(scatter - 1.5 * sensor, 0)
    return middle, (sensor + wild) * np.float32(1 + 1.57 / len(stack))


def _middle(stack: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
    """Median over the first axis; of a few small pictures sorting is twice as fast as selecting."""
    ranked, n = np.sort(stack, axis=0), len(stack)
    return np.asarray((ranked[(n - 1) // 2] + ranked[n // 2]) * np.float32(0.5))
