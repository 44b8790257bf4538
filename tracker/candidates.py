"""Places in a frame where something small stands that was not there before the release.

A frame and the scene without the arrow go in; a few dozen places come out with how strongly and how
large they stand out, in units of the noise at that place. Knows nothing of flights.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from tracker.stabilise import CameraMotion
from tracker.types import ByteArray, FloatArray

Picture = npt.NDArray[np.float32]

PER_FRAME = 36
"""Candidates kept for a frame, over all sizes (chosen here)."""

PER_CELL = 3
"""Candidates kept in a cell of the picture, so that a waving bow cannot take them all."""

CELLS_ACROSS = 20
"""Cells along the longer side of the picture."""

SIZES_PX = (0.9, 1.8, 3.6)
"""Standard deviations of the Gaussians that candidates are looked for with."""

EDGE = 0.35
"""Least fall-off around a peak, as a share of it, along every direction (chosen here)."""

STRIP_PX = 20_000
"""Pixels of each picture of which the median is taken at once (of 30 pictures it then takes two
fifths of the time that it takes of whole ones)."""

FLOOR = 1.2
"""Least noise of a pixel in grey levels: rounding and what compression removed (chosen here)."""


def reduced_matrix(motion: CameraMotion, reduce: int) -> FloatArray:
    """Give the camera's motion in the coordinates of the smaller picture."""
    centre = (reduce - 1) / 2
    linear = motion.matrix[:, :2]
    shift = (motion.matrix[:, 2] - centre + linear @ np.full(2, centre)) / reduce
    return np.column_stack([linear, shift])


def in_reference(small: ByteArray, motion: CameraMotion, reduce: int) -> Picture:
    """Draw a frame made smaller in the coordinates of the reference frame, as 32-bit floats."""
    picture = small.astype(np.float32)
    if motion.inliers == 0:
        return picture
    h, w = picture.shape
    return np.asarray(
        cv2.warpAffine(
            picture,
            reduced_matrix(motion, reduce),
            (w, h),
            flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
            borderMode=cv2.BORDER_REPLICATE,
        )
    )


def _middle(pictures: list[Picture]) -> Picture:
    """Median of pictures, a strip at a time: so much at once stays near the processor."""
    h, w = pictures[0].shape
    lines = max(STRIP_PX // w, 1)
    strips = (slice(top, top + lines) for top in range(0, h, lines))
    return np.concatenate([_middle_strip([one[strip] for one in pictures]) for strip in strips])


def _middle_strip(pictures: list[Picture]) -> Picture:
    """Median of pictures: of a few more than half, the least and the largest are no median.

    They make room for the next picture, until all were seen and one or two are left. Whole pictures
    are compared at a time, which is far quicker than sorting pixel by pixel.
    """
    n, rest = len(pictures), list(pictures)
    held = [rest.pop() for _ in range(min(n, n // 2 + 2))]
    while len(held) > 2:
        held = _between(held)
        if rest:
            held.append(rest.pop())
    return held[0] if len(held) == 1 else np.asarray((held[0] + held[1]) * np.float32(0.5))


def _between(pictures: list[Picture]) -> list[Picture]:
    """Leave out the least and the largest of every pixel."""
    held, m = list(pictures), len(pictures)

    def exchange(low: int, high: int) -> None:
        one, other = held[low], held[high]
        held[low] = np.asarray(cv2.min(one, other), dtype=np.float32)
        held[high] = np.asarray(cv2.max(one, other), dtype=np.float32)

    for k in range(m // 2):
        exchange(k, m - 1 - k)
    for k in range(1, (m + 1) // 2):
        exchange(0, k)
    for k in range(m // 2, m - 1):
        exchange(k, m - 1)
    return held[1:-1]


@dataclass(frozen=True, kw_only=True, eq=False)
class Plate:
    """The scene without the arrow, in the coordinates of the reference frame.

    Attributes
    ----------
    before, during
        (h, w) median before the release and median over the flight: what the archer and the bow
        uncover after the release shows only in the second.
    noise
        (h, w) standard deviation of a pixel about them, grey levels.
    """

    before: Picture
    during: Picture
    noise: Picture


def make_plate(before: list[Picture], during: list[Picture]) -> Plate:
    """Take the medians of stabilised frames.

    Parameters
    ----------
    before
        Frames before the release; may be empty, then the flight stands in.
    during
        Frames spread over the flight.

    Returns
    -------
    Plate
    """
    plate_b = _middle(before or during)
    plate_d = _middle(during or before)
    spread = _middle([np.abs(p - plate_b) for p in before or during]) * np.float32(1.4826)
    # a MAD of a few frames is itself noisy: neighbours lend theirs, and noise has a floor
    spread = np.maximum(cv2.blur(spread, (5, 5)), cv2.blur(spread, (25, 25)))
    return Plate(
        before=plate_b, during=plate_d, noise=np.maximum(spread, np.float32(FLOOR)).astype("f4")
    )


def difference(picture: Picture, plate: Plate, margin: int = 0) -> Picture:
    """Subtract whichever of the two plates is nearer, in units of the noise.

    Parameters
    ----------
    picture
        (h, w) frame in the coordinates of the plate.
    plate
        The scene without the arrow.
    margin
        Rows and columns at the edge that the camera's motion uncovered: nothing is known there.

    Returns
    -------
    numpy.ndarray
        (h, w)
    """
    apart = [cv2.absdiff(picture, one) for one in (plate.before, plate.during)]
    change = cv2.subtract(picture, plate.before)
    nearer = cv2.compare(apart[1], apart[0], cv2.CMP_LE)
    change = cv2.copyTo(cv2.subtract(picture, plate.during), nearer, change)
    excess = np.asarray(cv2.divide(change, plate.noise), dtype=np.float32)
    if margin:
        excess[:margin] = excess[-margin:] = 0
        excess[:, :margin] = excess[:, -margin:] = 0
    return excess


@dataclass(frozen=True, kw_only=True, eq=False)
class Candidates:
    """Places that stand out, over many frames.

    Attributes
    ----------
    frame
        (n,) number of the frame.
    xy_px
        (n, 2) place, full-size reference coordinates.
    snr
        (n,) strength in units of the noise of the filter.
    size_px
        (n,) standard deviation of the Gaussian that fits best.
    """

    frame: npt.NDArray[np.int64]
    xy_px: FloatArray
    snr: FloatArray
    size_px: FloatArray


def find_candidates(excess: Picture, frame: int, reduce: int) -> Candidates:
    """Find the strongest places at several sizes.

    Parameters
    ----------
    excess
        (h, w) `difference` of a frame.
    frame
        Its number.
    reduce
        How many times smaller it is than the full picture.

    Returns
    -------
    Candidates
        At most `PER_FRAME`.
    """
    rows: list[FloatArray] = []
    fine = _blurred(excess, SIZES_PX[0])
    for size in SIZES_PX:
        coarse = _blurred(fine, size * 3**0.5)
        band = np.asarray(cv2.absdiff(fine, coarse), dtype=np.float32)
        noise = 1.4826 * float(np.median(band[3::11, 5::11])) + 1e-3
        # clutter is not Gaussian; white noise after this filter has sigma ~ 0.22 / size
        noise = max(noise, 0.22 / size)
        tops = np.maximum(cv2.dilate(band, np.ones((5, 5), np.uint8)), np.float32(2.5 * noise))
        x, y = _set_places(cv2.compare(band, tops, cv2.CMP_GE))
        round_enough = _roundness(band, x, y, round(2 * size)) > EDGE
        y, x = y[round_enough], x[round_enough]
        # what moves in one piece (bow, archer) lights up all around; a lone place counts more
        wide = round(12 * size) | 1
        around = np.sqrt(np.maximum(cv2.blur(band * band, (wide, wide))[y, x], 0))
        strength = band[y, x] / np.hypot(noise, around / 2)
        keep = _few_per_cell(x, y, strength, max(band.shape) / CELLS_ACROSS)
        y, x, strength = y[keep], x[keep], strength[keep]
        dx, dy = _subpixel(band, x, y)
        rows.append(
            np.column_stack([x + dx, y + dy, strength, np.full(len(x), size), band[y, x] / noise])
        )
        fine = coarse
    found = np.concatenate(rows)
    found = _strongest_apart(found)
    centre = (reduce - 1) / 2
    return Candidates(
        frame=np.full(len(found), frame),
        xy_px=found[:, :2] * reduce + centre,
        snr=found[:, 2],
        size_px=found[:, 3] * reduce,
    )


def _set_places(mask: npt.NDArray[Any]) -> npt.NDArray[np.int64]:
    """(2, n) columns and rows of what is set: far quicker than asking for them as numbers."""
    places = cv2.findNonZero(mask)
    return (
        np.zeros((2, 0), np.int64) if places is None else places.reshape(-1, 2).T.astype(np.int64)
    )


def _blurred(picture: Picture, sigma_px: float) -> Picture:
    """Blur by a Gaussian that is cut off at three standard deviations."""
    wide = int(6 * sigma_px) | 1
    return np.asarray(cv2.GaussianBlur(picture, (wide, wide), sigma_px), dtype=np.float32)


def _few_per_cell(
    x: npt.NDArray[np.int64], y: npt.NDArray[np.int64], strength: FloatArray, side: float
) -> npt.NDArray[np.int64]:
    """Choose the strongest of each cell, and the strongest of those."""
    order = np.argsort(-strength)
    cell = (y[order] // side).astype(int) * 4096 + (x[order] // side).astype(int)
    by_cell = np.argsort(cell, kind="stable")
    ranked = cell[by_cell]
    rank = np.arange(len(ranked)) - np.searchsorted(ranked, ranked)
    kept = np.sort(by_cell[rank < PER_CELL])
    return np.asarray(order[kept][:PER_FRAME])


def _roundness(
    band: Picture, x: npt.NDArray[np.int64], y: npt.NDArray[np.int64], step: int
) -> FloatArray:
    """Compare the fall-off along the flattest of four directions with the peak: 0 on an edge."""
    h, w = band.shape
    here = band[y, x]
    worst = np.full(len(x), np.inf)
    for ax, ay in ((1, 0), (0, 1), (1, 1), (1, -1)):
        sides = [
            band[np.clip(y + s * ay * step, 0, h - 1), np.clip(x + s * ax * step, 0, w - 1)]
            for s in (-1, 1)
        ]
        worst = np.minimum(worst, here - 0.5 * (sides[0] + sides[1]))
    return np.asarray(worst / np.maximum(here, 1e-9), dtype=np.float64)


def _subpixel(
    band: Picture, x: npt.NDArray[np.int64], y: npt.NDArray[np.int64]
) -> tuple[FloatArray, FloatArray]:
    """Place the top of a parabola through three neighbours along each axis."""
    h, w = band.shape
    xi, yi = np.clip(x, 1, w - 2), np.clip(y, 1, h - 2)

    def top(before: Picture, here: Picture, after: Picture) -> FloatArray:
        bend = before + after - 2 * here
        shift = np.where(bend < 0, 0.5 * (before - after) / np.minimum(bend, -1e-9), 0)
        return np.clip(shift, -1, 1)

    here = band[yi, xi]
    return top(band[yi, xi - 1], here, band[yi, xi + 1]), top(
        band[yi - 1, xi], here, band[yi + 1, xi]
    )


def _strongest_apart(found: FloatArray) -> FloatArray:
    """Keep the strongest candidates that do not lie within each other's size."""
    found = found[np.argsort(-found[:, 2])]
    apart = found[:, None, :2] - found[None, :, :2]
    reach = 1.5 * np.maximum(found[:, None, 3], found[None, :, 3])
    near = (apart**2).sum(axis=2) < reach**2
    free = np.ones(len(found), dtype=np.bool_)
    kept: list[int] = []
    for i in range(len(found)):
        if free[i]:
            kept.append(i)
            free &= ~near[i]
        if len(kept) == PER_FRAME:
            break
    return found[kept]


def joined(parts: list[Candidates]) -> Candidates:
    """Put the candidates of several frames into one table."""
    return Candidates(
        frame=np.concatenate([p.frame for p in parts]),
        xy_px=np.concatenate([p.xy_px for p in parts]),
        snr=np.concatenate([p.snr for p in parts]),
        size_px=np.concatenate([p.size_px for p in parts]),
    )
