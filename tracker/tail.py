"""The picture of an arrow's tail in a few numbers: pose and size go in, pixels come out.

Seen from behind, a tail is a nock (a disc), vanes (a thin ring about it) and a shaft that runs away
from it towards where the arrow will be. All shrink together as the arrow flies off; the nock's
middle is the point that is followed. What a clip's arrow looks like is fitted, not assumed.

References
----------
[1] J. I. Marcum, "A statistical theory of target detection by pulsed radar", RAND RM-754 (1947): a
    disc blurred by a Gaussian is the Q function, here as the non-central chi-square distribution.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from scipy.special import chndtr, erf

from tracker.types import FloatArray

SHAFT_WIDTH = 0.68
"""Shaft's width over the nock's (common practice; 5 to 6 mm against 7 to 9 mm)."""


NOCK_AHEAD = 0.008
"""Middle of the nock's body before its end, as a share of the arrow (6 of 720 mm, common practice).

Off the camera's axis the nock is seen from the side a little; what is followed is its end."""

VANES_AHEAD = 0.049
"""Middle of the vanes before the nock's end, as a share of the arrow (35 of 720 mm)."""


SIZES = np.arange(0, 8.01, 0.1)
RADII = np.arange(0, 14.01, 0.1)


@dataclass(frozen=True, kw_only=True)
class Look:
    """What one clip's arrow looks like, from first frame to last.

    Attributes
    ----------
    size_px_s
        Nock's diameter in pixels times T, the time since the singular time.
    blur_px
        Standard deviation of lens and pixel together.
    ring
        Outer radius of the vanes over the nock's.
    exposure_s
        Time over which a frame collects light.
    shaft_s
        Time in which the arrow flies its own length.
    nock, shaft
        Brightness of the parts, grey levels.
    vanes
        Brightness that the vanes add to what is behind them at the nock's rim, grey levels.
    """

    size_px_s: float
    blur_px: float
    ring: float
    exposure_s: float
    shaft_s: float
    nock: float
    shaft: float
    vanes: float


@dataclass(frozen=True, kw_only=True, eq=False)
class Patch:
    """The pixels around the tail in one frame.

    Attributes
    ----------
    row
        Frame of the window.
    x_px, y_px
        (w,), (h,) raw coordinates of columns and rows.
    picture, scene
        (h, w) what was filmed, and the scene without the arrow.
    weight
        (h, w) one over the variance of their difference.
    depth_s
        T.
    speed_px_s
        (2,) of the nock over the picture.
    """

    row: int
    x_px: FloatArray
    y_px: FloatArray
    picture: FloatArray
    scene: FloatArray
    weight: FloatArray
    depth_s: float
    speed_px_s: FloatArray


@dataclass(frozen=True, kw_only=True, eq=False)
class Covers:
    """How much of each pixel the parts cover.

    Attributes
    ----------
    nock, shaft, ring
        (m, h, w) shares; `ring` is 1 at the nock's rim and thins out as one over the radius.
    sectors
        (m, s, h, w) shares of the ring by angle, which add up to it.
    """

    nock: FloatArray
    shaft: FloatArray
    ring: FloatArray
    sectors: FloatArray


def blurred_disc(r_px: FloatArray, radius_px: float, blur_px: float) -> FloatArray:
    """Cover of a disc behind a Gaussian blur, at distances from its middle [1].

    Parameters
    ----------
    r_px
        Distances, any shape.
    radius_px, blur_px
        Of the disc; standard deviation of the blur.

    Returns
    -------
    numpy.ndarray
        Shares 0 to 1, shaped as `r_px`.

    Examples
    --------
    >>> round(float(blurred_disc(np.array([0.0]), 1.0, 1.0)[0]), 6)  # 1 - exp(-1/2)
    0.393469
    """
    table = _disc_table()
    r = np.minimum(r_px / blur_px, RADII[-1] - 1e-6)
    big = radius_px / blur_px
    if big >= SIZES[-1]:
        # the rim of a large disc is all but straight
        return np.asarray(0.5 * (1 - erf((r_px - radius_px) / (np.sqrt(2) * blur_px))))
    row = int(big / SIZES[1])
    share = big / SIZES[1] - row
    profile = (1 - share) * table[row] + share * table[row + 1]
    place = r / RADII[1]
    below = place.astype(np.intp)
    low = profile[below]
    return np.asarray(low + (place - below) * (profile[below + 1] - low))


@cache
def _disc_table() -> FloatArray:
    """Cover by radius of disc and distance from its middle, both in units of the blur [1]."""
    return np.asarray(chndtr(SIZES[:, None] ** 2, 2, RADII[None, :] ** 2))


def covers(patch: Patch, look: Look, xy_px: FloatArray, tip_px: FloatArray, sectors: int) -> Covers:
    """Draw the parts of the tail, for several poses at a time.

    Parameters
    ----------
    patch
        Where.
    look
        What the arrow looks like.
    xy_px
        (m, 2) middle of the nock, raw coordinates.
    tip_px
        (m, 2) from there to the far end of the shaft.
    sectors
        Into how many the ring is cut.

    Returns
    -------
    Covers
        With a leading axis of m.
    """
    radius = 0.5 * look.size_px_s / patch.depth_s
    trail = patch.speed_px_s * look.exposure_s
    steps = int(np.clip(np.ceil(np.hypot(*trail) / (1.6 * look.blur_px)), 1, 8))
    taper = patch.depth_s / (patch.depth_s + look.shaft_s)
    x = patch.x_px - xy_px[:, :1]
    y = patch.y_px - xy_px[:, 1:]
    total: list[FloatArray] = []
    for share in (np.arange(steps) + 0.5) / steps - 0.5:
        dx, dy = (x - share * trail[0])[:, None, :], (y - share * trail[1])[:, :, None]
        nock, vanes = NOCK_AHEAD * tip_px, VANES_AHEAD * tip_px
        disc = blurred_disc(
            np.hypot(dx - nock[:, 0, None, None], dy - nock[:, 1, None, None]),
            radius,
            look.blur_px,
        )
        r = np.hypot(dx - vanes[:, 0, None, None], dy - vanes[:, 1, None, None])
        wide = blurred_disc(r, radius * look.ring, look.blur_px)
        band = np.maximum(wide - disc, 0) * (radius / np.maximum(r, radius))
        bar = (1 - disc) * _bar(dx, dy, tip_px, radius * SHAFT_WIDTH, taper, look.blur_px)
        total = (
            [disc, bar, band]
            if not total
            else [a + b for a, b in zip(total, (disc, bar, band), strict=True)]
        )
    disc, bar, band = (part / steps for part in total)
    parts = band[:, None]
    if sectors > 1:
        # which way a vane points changes little while the pose is nudged
        middle = xy_px[0] + VANES_AHEAD * tip_px[0]
        angle = np.arctan2(patch.y_px[:, None] - middle[1], patch.x_px[None, :] - middle[0])
        parts = parts * _hats(angle, sectors)[None]
    return Covers(nock=disc, shaft=bar, ring=band, sectors=parts)


def _bar(
    dx: FloatArray, dy: FloatArray, tip: FloatArray, half: float, taper: float, blur: float
) -> FloatArray:
    """Cover of a tapering bar from the origin to its tip behind a Gaussian blur, (m, h, w)."""
    long = np.maximum(np.hypot(tip[:, 0], tip[:, 1]), 1e-3)[:, None, None]
    ex, ey = tip[:, 0, None, None] / long, tip[:, 1, None, None] / long
    along = dx * ex + dy * ey
    across = np.abs(dy * ex - dx * ey)
    width = half * (1 - (1 - taper) * np.clip(along / long, 0, 1))
    k = 1 / blur
    ends = _normal(along * k) - _normal((along - long) * k)
    return np.asarray(ends * (_normal((across + width) * k) - _normal((across - width) * k)))


def _normal(z: FloatArray) -> FloatArray:
    """Cumulative normal distribution from a table, to 1e-5: four times as fast as the function."""
    place = np.clip((z + 6.0) * 64.0, 0.0, 767.0)
    below = place.astype(np.intp)
    table = _normal_table()
    low = table[below]
    return np.asarray(low + (place - below) * (table[below + 1] - low))


@cache
def _normal_table() -> FloatArray:
    return np.asarray(0.5 * (1 + erf((np.arange(769) / 64.0 - 6.0) / np.sqrt(2))))


def _hats(angle: FloatArray, sectors: int) -> FloatArray:
    """Split the circle into overlapping triangles that add up to one, (s, h, w)."""
    place = angle / (2 * np.pi) * sectors
    centre = np.arange(sectors)[:, None, None]
    away = np.abs((place[None] - centre + sectors / 2) % sectors - sectors / 2)
    return np.asarray(np.maximum(1 - away, 0))
