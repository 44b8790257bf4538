"""Pixels around a path go in; for each, how much it looks like the nock's place comes out."""

from __future__ import annotations

import cv2
import numpy as np

from tracker.refine import beneath
from tracker.tail import Look, Patch, blurred_disc, covers
from tracker.types import FloatArray


def discs(patch: Patch, look: Look, sign: float) -> tuple[FloatArray, FloatArray]:
    """Lay a disc of the nock's size on each pixel.

    Parameters
    ----------
    patch
        The pixels.
    look
        Of the arrow; its size and blur count.
    sign
        1 for a bright disc, -1 for a dark one.

    Returns
    -------
    contrast, levels : numpy.ndarray
        (h, w) how much it stands out, in standard errors, and by how many grey levels.
    """
    radius = 0.5 * look.size_px_s / patch.depth_s
    reach = int(np.ceil(radius + 2))
    y, x = np.mgrid[-reach : reach + 1, -reach : reach + 1]
    disc = blurred_disc(np.hypot(x, y), radius, look.blur_px)
    signal = _under(disc, sign * (patch.picture - patch.scene) * patch.weight)
    power = _under(disc**2, patch.weight)
    return np.maximum(signal, 0) / np.sqrt(power), signal / power


def tails(patch: Patch, look: Look, at_px: FloatArray, ahead_px: FloatArray) -> FloatArray | None:
    """Lay nock and shaft on each pixel.

    A dull nock before a wall as bright shows nothing but its shaft, so the whole tail counts.

    Parameters
    ----------
    patch
        The pixels.
    look
        Of the arrow.
    at_px
        (2,) raw coordinates about where the nock is; the tail is drawn as it would show there.
    ahead_px
        (2,) from the nock to where it will be after the arrow has flown its own length.

    Returns
    -------
    numpy.ndarray or None
        (h, w) by how much chi-square falls with the nock as far from the pixel's middle as `at_px`
        is from that of its own pixel; None where that is too near the patch's rim.
    """
    parts = covers(patch, look, at_px, ahead_px, 1, slopes=False)
    diameter = look.size_px_s / patch.depth_s
    column, line = pixel_of(patch, at_px)
    h, w = patch.scene.shape
    reach = int(np.ceil(0.5 * look.ring * diameter + 2 * look.blur_px)) + 1
    reach = min(reach, column, line, w - 1 - column, h - 1 - line)
    if reach < 1:
        return None
    near = slice(line - reach, line + reach + 1), slice(column - reach, column + reach + 1)
    nock, shaft = parts.nock[near], parts.shaft[near]
    as_nock, as_shaft = look.nock - patch.scene, look.shaft - patch.scene
    change = patch.weight * (patch.picture - patch.scene - beneath(patch))
    signal = _under(nock, change * as_nock) + _under(shaft, change * as_shaft)
    power = _under(nock**2, patch.weight * as_nock**2)
    power += _under(shaft**2, patch.weight * as_shaft**2)
    power += 2 * _under(nock * shaft, patch.weight * as_nock * as_shaft)
    return np.asarray(2 * signal - power)


def pixel_of(patch: Patch, at_px: FloatArray) -> tuple[int, int]:
    """Column and line of a patch nearest to a place in raw coordinates."""
    column, line = np.round(at_px - (patch.x_px[0], patch.y_px[0])).astype(int).tolist()
    return column, line


def from_segment(patch: Patch, a: FloatArray, b: FloatArray) -> FloatArray:
    """(h, w) distance of each pixel from the segment a to b, raw coordinates."""
    x, y = np.meshgrid(patch.x_px - a[0], patch.y_px - a[1])
    along = b - a
    share = np.clip((x * along[0] + y * along[1]) / max(float(along @ along), 1e-9), 0, 1)
    return np.asarray(np.hypot(x - share * along[0], y - share * along[1]))


def _under(cover: FloatArray, picture: FloatArray) -> FloatArray:
    """(h, w) sum of a picture under a small cover, wherever that is laid."""
    return np.asarray(
        cv2.filter2D(
            picture.astype(np.float32),
            -1,
            cover.astype(np.float32),
            borderType=cv2.BORDER_CONSTANT,
        ),
        dtype=np.float64,
    )
