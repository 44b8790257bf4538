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
from functools import cache, cached_property
from math import ceil, floor, hypot

import numpy as np
import numpy.typing as npt
from scipy.special import chndtr, erf

from tracker.types import FloatArray

SHAFT_WIDTH = 0.68
"""Shaft's width over the nock's (common practice; 5 to 6 mm against 7 to 9 mm)."""


NOCK_AHEAD = 0.008
"""Middle of the nock's body before its end, as a share of the arrow (6 of 720 mm, common practice).

Off the camera's axis the nock is seen from the side a little; what is followed is its end."""

VANES_AHEAD = 0.049
"""Middle of the vanes before the nock's end, as a share of the arrow (35 of 720 mm)."""


NO_LIGHT = 4.5
"""Standard deviations of the blur beyond which nothing of an edge is seen: less than 1e-5."""

SIZES = np.arange(0, 8.01, 0.1)
RADII = np.arange(0, 14.01, 0.1)

FINE = 256
"""Steps of a table for each standard deviation."""


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
    unlike
        How much vanes may differ from what is drawn, as a share of the nock's contrast: they are
        of many shapes.
    """

    size_px_s: float
    blur_px: float
    ring: float
    exposure_s: float
    shaft_s: float
    nock: float
    shaft: float
    vanes: float
    unlike: float


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

    @cached_property
    def shifts(self) -> FloatArray:
        """(3, h, w) what a pixel right and down, and a grey level more, change in the scene."""
        down, right = np.gradient(self.scene)
        return np.stack([-right, -down, np.ones_like(right)])


@dataclass(frozen=True, kw_only=True, eq=False)
class Covers:
    """How much of each pixel the parts cover.

    Attributes
    ----------
    nock, shaft, ring
        (h, w) shares; `ring` is 1 at the nock's rim and thins out as one over the radius.
    sectors
        (s, h, w) shares of the ring by angle, which add up to it.
    nock_slope, shaft_slope, ring_slope
        (4, h, w) what a pixel right and down adds, of the nock's middle and of the shaft's tip;
        empty if they were not asked for.
    """

    nock: FloatArray
    shaft: FloatArray
    ring: FloatArray
    sectors: FloatArray
    nock_slope: FloatArray
    shaft_slope: FloatArray
    ring_slope: FloatArray


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
    return _disc(r_px, radius_px, blur_px)[0]


def _disc(r_px: FloatArray, radius_px: float, blur_px: float) -> tuple[FloatArray, FloatArray]:
    """Cover of a blurred disc [1], and its slope per pixel outwards."""
    big = radius_px / blur_px
    if big >= SIZES[-1]:
        # the rim of a large disc is all but straight
        cover, slope = _normal((radius_px - r_px) * (1 / blur_px))
        slope *= -1 / blur_px
        return cover, slope
    row = int(big / SIZES[1])
    share = big / SIZES[1] - row
    profile, rise = ((1 - share) * t[row] + share * t[row + 1] for t in _disc_tables())
    place = np.minimum(r_px * (1 / (blur_px * RADII[1])), len(RADII) - 1.001)
    below = place.astype(np.intp)
    slope = rise.take(below)
    place -= below
    place *= slope
    place += profile.take(below)
    slope *= 1 / (blur_px * RADII[1])
    return place, slope


@cache
def _disc_tables() -> tuple[FloatArray, FloatArray]:
    """Cover by radius of disc and distance from its middle, in units of the blur, and its rise."""
    table = chndtr(SIZES[:, None] ** 2, 2, RADII[None, :] ** 2)  # [1]
    return np.asarray(table), np.diff(table, append=table[:, -1:])


def covers(
    patch: Patch,
    look: Look,
    xy_px: FloatArray,
    tip_px: FloatArray,
    sectors: int,
    *,
    slopes: bool = True,
) -> Covers:
    """Draw the parts of the tail, and how they change with its pose.

    Parameters
    ----------
    patch
        Where.
    look
        What the arrow looks like.
    xy_px
        (2,) middle of the nock, raw coordinates.
    tip_px
        (2,) from there to the far end of the shaft.
    sectors
        Into how many the ring is cut.
    slopes
        Whether the changes are wanted: they double the work.

    Returns
    -------
    Covers
    """
    radius = 0.5 * look.size_px_s / patch.depth_s
    trail = patch.speed_px_s * look.exposure_s
    steps = max(ceil(min(hypot(*trail) / (1.6 * look.blur_px), 8.0)), 1)
    taper = patch.depth_s / (patch.depth_s + look.shaft_s)
    nock_ahead, vanes_ahead = _seen_at(NOCK_AHEAD, taper), _seen_at(VANES_AHEAD, taper)
    # the nock's middle at a few moments while the frame collects light, drawn all at once
    share = ((np.arange(steps) + 0.5) / steps - 0.5)[:, None]
    x = patch.x_px - xy_px[0] - share * trail[0]
    y = patch.y_px - xy_px[1] - share * trail[1]
    shape = steps, len(patch.y_px), len(patch.x_px)
    disc = _round(x, y, nock_ahead * tip_px, radius, look.blur_px)
    wide = _round(x, y, vanes_ahead * tip_px, radius * look.ring, look.blur_px)
    pixel, bar = _bar(x, y, tip_px, radius * SHAFT_WIDTH, taper, look.blur_px, slopes=slopes)
    hidden = np.zeros(shape)
    hidden[disc.box] = disc.cover
    behind = hidden[wide.box]
    far = np.maximum(wide.r, radius)
    thin = radius / far
    seen = wide.cover > behind
    thinned = np.maximum(wide.cover - behind, 0.0)
    thinned *= thin
    shaft = (1 - hidden.take(pixel)) * bar
    # nock, shaft, ring, each with its four slopes
    total = np.zeros((3, 5 if slopes else 1, *shape[1:]))
    total[0, 0] = hidden.sum(axis=0)
    total[2, 0, *wide.box[1:]] = thinned.sum(axis=0)
    if slopes:
        by_disc = np.zeros((2, *shape))
        by_disc[:, *disc.box] = disc.slopes()
        shaft[1:3] -= by_disc.reshape(2, -1)[:, pixel] * bar[0]
        total[0, 1:3] = by_disc.sum(axis=1)
        # outwards the ring thins as well; the nock's part of the slope by the tip is negligible
        by_ring = wide.slopes(wide.out * thin * seen - thinned / far * (wide.r > radius))
        total[2, 3:, *wide.box[1:]] = vanes_ahead * by_ring.sum(axis=1)
        by_ring -= by_disc[:, *wide.box] * (thin * seen)
        total[2, 1:3, *wide.box[1:]] = by_ring.sum(axis=1)
    spot = pixel % hidden[0].size
    for k, one in enumerate(shaft):
        total[1, k] = np.bincount(spot, one, minlength=hidden[0].size).reshape(shape[1:])
    total /= steps
    if slopes:
        total[0, 3:] = nock_ahead * total[0, 1:3]
    parts = total[2, :1]
    if sectors > 1:
        middle = xy_px + vanes_ahead * tip_px
        angle = np.arctan2(patch.y_px[:, None] - middle[1], patch.x_px[None, :] - middle[0])
        parts = _split(total[2, 0], angle, sectors)
    return Covers(
        nock=total[0, 0],
        shaft=total[1, 0],
        ring=total[2, 0],
        sectors=parts,
        nock_slope=total[0, 1:],
        shaft_slope=total[1, 1:],
        ring_slope=total[2, 1:],
    )


def _seen_at(share: float, taper: float) -> float:
    """Turn a share of the arrow's length into one of its picture, whose far end is smaller."""
    return share / (taper + share * (1 - taper))


@dataclass(frozen=True, kw_only=True, eq=False)
class _Disc:
    """Cover of a blurred disc where any is seen, its slope outwards, and how far from its middle.

    `box` are the moments, lines and columns that the rest belongs to.
    """

    box: tuple[slice, slice, slice]
    cover: FloatArray
    out: FloatArray
    dx: FloatArray
    dy: FloatArray
    r: FloatArray

    def slopes(self, out: FloatArray | None = None) -> FloatArray:
        """(2, m, h, w) by the middle, right and down, of something with a slope outwards."""
        out = (self.out if out is None else out) / np.maximum(self.r, 1e-6)
        both = np.empty((2, *self.r.shape))
        np.multiply(out, -self.dx, out=both[0])
        np.multiply(out, -self.dy, out=both[1])
        return both


def _round(x: FloatArray, y: FloatArray, ahead: FloatArray, radius: float, blur: float) -> _Disc:
    """Draw a disc ahead of the origin, (m, w) columns x and (m, h) lines y a pixel apart."""
    reach = radius + NO_LIGHT * blur
    lines, columns = _within(y, float(ahead[1]), reach), _within(x, float(ahead[0]), reach)
    dx, dy = x[:, None, columns] - ahead[0], y[:, lines, None] - ahead[1]
    r = np.sqrt(dx * dx + dy * dy)
    cover, out = _disc(r, radius, blur)
    return _Disc(box=(slice(None), lines, columns), cover=cover, out=out, dx=dx, dy=dy, r=r)


def _within(places: FloatArray, middle: float, reach: float) -> slice:
    """Choose of (m, n) places a pixel apart those that at some moment lie within reach."""
    ends, n = (float(places[0, 0]), float(places[-1, 0])), places.shape[1]
    low, high = ceil(middle - reach - max(ends)), floor(middle + reach - min(ends)) + 1
    return slice(min(max(low, 0), n), min(max(high, 0), n))


def _bar(
    x: FloatArray,
    y: FloatArray,
    tip: FloatArray,
    half: float,
    taper: float,
    blur: float,
    *,
    slopes: bool,
) -> tuple[npt.NDArray[np.intp], FloatArray]:
    """Cover of a tapering bar from the origin to its tip behind a Gaussian blur.

    Returns
    -------
    pixel : numpy.ndarray
        (m,) flat numbers of the pixels that see it.
    bar : numpy.ndarray
        (5, m) cover, then slopes by the origin right and down, with the tip going along, and by
        the tip alone; (1, m) without slopes.
    """
    long = max(float(np.hypot(tip[0], tip[1])), 1e-3)
    ex, ey = tip[0] / long, tip[1] / long
    right, down = x[:, None, :], y[:, :, None]
    along = right * ex + down * ey
    beside = down * ex - right * ey
    reach = NO_LIGHT * blur
    # most pixels lie too far from the bar to see anything of it
    near = np.abs(beside) < half + reach
    near &= along > -reach
    near &= along < long + reach
    pixel = np.flatnonzero(near)
    along, beside = along.take(pixel), beside.take(pixel)
    across = np.abs(beside)
    thinner = half * (1 - taper) / long
    width = half - thinner * np.minimum(np.maximum(along, 0), long)
    z = np.empty((4, len(pixel)))
    z[0], z[1] = along, along - long
    np.add(across, width, out=z[2])
    np.subtract(across, width, out=z[3])
    z *= 1 / blur
    cover, slope = _normal(z)
    ends, sides = cover[0] - cover[1], cover[2] - cover[3]
    out = np.empty((5 if slopes else 1, len(pixel)))
    np.multiply(ends, sides, out=out[0])
    if not slopes:
        return pixel, out
    slope *= 1 / blur
    by_width = ends * (slope[2] + slope[3]) * (thinner * ((along > 0) & (along < long)))
    by_along = (slope[0] - slope[1]) * sides - by_width
    by_beside = ends * (slope[2] - slope[3]) * np.sign(beside)
    by_long = slope[1] * sides + by_width * along * (1 / long)
    # turning the tip swings the axis: points are then nearer along it, and farther beside it
    by_turn = (by_along * beside - by_beside * along) * (1 / long)
    out[1] = ey * by_beside - ex * by_along
    out[2] = -ex * by_beside - ey * by_along
    out[3] = ex * by_long - ey * by_turn
    out[4] = ey * by_long + ex * by_turn
    return pixel, out


def _normal(z: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Cumulative normal distribution from a table, to 1e-6, and its slope, to 1e-3."""
    place = (z + 6.0) * FINE
    np.clip(place, 0.0, 12.0 * FINE - 1, out=place)
    below = place.astype(np.intp)
    place -= below
    low, rise = (column.take(below) for column in _normal_table())
    place *= rise
    place += low
    rise *= FINE
    return place, rise


@cache
def _normal_table() -> tuple[FloatArray, FloatArray]:
    """Values and their rise to the next; the last is beyond what is drawn."""
    values = 0.5 * (1 + erf((np.arange(12 * FINE + 1) / FINE - 6.0) / np.sqrt(2)))
    return values[:-1], np.diff(values)


def _split(ring: FloatArray, angle: FloatArray, sectors: int) -> FloatArray:
    """Split (h, w) shares by angle into overlapping triangles that add up to them, (s, h, w)."""
    place = angle * (sectors / (2 * np.pi)) + sectors
    below = place.astype(np.intp)
    upper = ring * (place - below)
    parts = np.zeros((sectors, ring.size))
    pixel = np.arange(ring.size)
    parts[(below % sectors).ravel(), pixel] = (ring - upper).ravel()
    parts[((below + 1) % sectors).ravel(), pixel] = upper.ravel()
    return parts.reshape(sectors, *ring.shape)
