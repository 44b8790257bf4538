"""The target face in the still scene: its middle and its diameter, in pixels.

The plate of a clip goes in; centre and diameter with a standard error come out, or None where
nothing in it is surely a face. Only brightness is looked at, and no size in metres is known here.

A ten-zone face is white, black, blue, red and gold from the outside in, each a fifth of the
diameter (World Archery rule book). In grey: bright, dark, middling, middling, bright.

References
----------
.. [1] J. P. Lewis, "Fast normalized cross-correlation", Vision Interface (1995) 120-123.
.. [2] L. Kaufman, "A variable projection method for solving separable nonlinear least squares
   problems", BIT Numerical Mathematics 15 (1975) 49-57.
"""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import cv2
import numpy as np
from scipy.optimize import least_squares
from scipy.special import erf

from tracker.types import ByteArray, FloatArray

ZONE_LUMA = (0.75, 0.35, 0.45, 0.1, 0.9)
"""Gold, red, blue, black, white as shares of white; the fit frees them, the search does not."""

SEARCH_PX = 12
"""The picture is shrunk until the face it looks for has this diameter."""

LEAST_PX = 16
"""Of the smallest face looked for; smaller ones have no rings to see."""

STEP = 1.08
"""From one diameter looked for to the next."""

LEAST_SCORE = 0.55
WORTH_A_FIT = 0.3
LEAST_COARSE_FIT = 0.8
LEAST_FIT = 0.9
"""Correlation of a candidate, share of the variance about it that the proposed rings explain, and
shares inside it that the ones fitted to a few and to all pixels explain; chosen here from faces on
leaves, grass and walls."""

EDGES = np.array([0.2, 0.4, 0.6, 0.8, 1.0])
"""Outer edges of the zones, from the middle out, as shares of the radius."""

MODEL_SIGMA = 0.015
"""Relative: score lines, a bent sheet, light from the side; chosen here."""


@dataclass(frozen=True, kw_only=True)
class Face:
    """A target face in the picture.

    Attributes
    ----------
    x_px, y_px
        Its middle.
    diameter_px, sigma_px
        Level diameter and its standard error; a face that leans back keeps its width.
    """

    x_px: float
    y_px: float
    diameter_px: float
    sigma_px: float


def find_face(plate: ByteArray) -> Face | None:
    """Find the target face in a still scene.

    Parameters
    ----------
    plate
        (height, width) brightness without the arrow.

    Returns
    -------
    Face or None
        None where nothing is surely a face.

    Notes
    -----
    Normalised correlation [1] with rings of rising size proposes places; a blurred-ring model with
    free brightness per zone is fitted to each and has to explain nearly everything there.
    """
    best: tuple[float, Face] | None = None
    for x, y, diameter in _candidates(plate):
        fitted = _fit_rings(plate, x, y, diameter)
        if fitted is not None and (best is None or fitted[0] > best[0]):
            best = fitted
    return best[1] if best else None


def _candidates(plate: ByteArray) -> list[tuple[float, float, float]]:
    """Propose (x, y, diameter), the best first."""
    # A square inside the circle: what lies beyond the face is unknown.
    half = int(0.38 * SEARCH_PX)
    y, x = np.mgrid[-half : half + 1, -half : half + 1]
    zone = np.minimum(np.hypot(x, y) / (SEARCH_PX / 10), 4.999).astype(int)
    template = cv2.GaussianBlur(np.array(ZONE_LUMA, np.float32)[zone], (0, 0), 0.6)

    def alike(shrunk: ByteArray, scale: float) -> list[tuple[float, float, float, float]]:
        size = (round(scale * plate.shape[1]), round(scale * plate.shape[0]))
        small = cv2.resize(shrunk, size, interpolation=cv2.INTER_AREA)
        score = cv2.matchTemplate(small.astype(np.float32), template, cv2.TM_CCOEFF_NORMED)
        tops = []
        for _ in range(4):
            _, top, _, (column, row) = cv2.minMaxLoc(score)
            if top < LEAST_SCORE:
                break
            at = (column + half + 0.5) / scale - 0.5, (row + half + 0.5) / scale - 0.5
            tops.append((float(top), *at, SEARCH_PX / scale))
            cv2.circle(score, (column, row), half, -1.0, -1)
        return tops

    diameter = float(LEAST_PX)
    shrunk, shrink = plate, 1.0
    sizes: list[tuple[ByteArray, float]] = []
    while diameter < 0.9 * min(plate.shape):
        scale = SEARCH_PX / diameter
        # From the smallest halved picture that still has the detail: most sizes ask for few pixels.
        while 2 * scale <= shrink:
            shrunk, shrink = _halved(shrunk), shrink / 2
        sizes.append((shrunk, scale))
        diameter *= STEP
    # the picture library lets go of the interpreter
    with ThreadPoolExecutor(max_workers=os.cpu_count()) as pool:
        found = [top for tops in pool.map(lambda one: alike(*one), sizes) for top in tops]
    found.sort(reverse=True)
    kept: list[tuple[float, float, float]] = []
    for _, cx, cy, d in found:
        if all(np.hypot(cx - a, cy - b) > 0.3 * max(d, e) for a, b, e in kept):
            kept.append((cx, cy, d))
    return kept[:8]


def _halved(picture: ByteArray) -> ByteArray:
    """Shrink a picture to half its width and height; an odd last row or column is left out."""
    even = picture[: picture.shape[0] // 2 * 2, : picture.shape[1] // 2 * 2]
    size = (even.shape[1] // 2, even.shape[0] // 2)
    return np.asarray(cv2.resize(even, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)


def _fit_rings(plate: ByteArray, x: float, y: float, diameter: float) -> tuple[float, Face] | None:
    """Fit blurred rings around a candidate; give how much they explain, and the face."""
    reach = int(0.62 * diameter) + 3
    left, top = round(x) - reach, round(y) - reach
    if left < 0 or top < 0 or left + 2 * reach >= plate.shape[1]:
        return None
    if top + 2 * reach >= plate.shape[0]:
        return None
    patch = plate[top : top + 2 * reach + 1, left : left + 2 * reach + 1].astype(np.float64)
    fine = _Rings(patch, left, top, stride=max(1, round(diameter / 60)))
    coarse = _Rings(patch, left, top, stride=max(1, round(diameter / 20)))
    starts = [np.array([x, y, np.log(diameter * k), 0.0, 0.0]) for k in (0.92, 1.0, 1.09)]
    rough = [float(np.sum(coarse.residual(start) ** 2)) for start in starts]
    if min(rough) > (1 - WORTH_A_FIT) * coarse.variation():
        return None
    tried = [starts[i] for i in np.argsort(rough)[:2]]
    near = min((coarse.fit(start, tolerance=1e-4) for start in tried), key=coarse.misfit)
    if coarse.explained(near) < LEAST_COARSE_FIT:
        return None
    best = fine.fit(near, tolerance=1e-8)
    explained = fine.explained(best)
    if explained < LEAST_FIT or not _looks_like_a_face(fine.levels(best), float(best[3])):
        return None
    wide = float(np.exp(best[2]))
    spread = float(np.sqrt(np.mean(fine.residual(best) ** 2)))
    J = fine.jacobian(best)
    covariance = np.linalg.pinv(J.T @ J)
    # Neighbouring pixels err together: an error of the model counts once for each blur's width.
    sigma = wide * spread * float(np.sqrt(max(covariance[2, 2], 0.0))) * 2.0
    face = Face(
        x_px=float(best[0]),
        y_px=float(best[1]),
        diameter_px=wide,
        sigma_px=float(np.hypot(sigma, MODEL_SIGMA * wide)),
    )
    return explained, face


class _Rings:
    """Blurred rings (x, y, ln diameter, ln height/width, ln blur), each with its best brightness.

    Parameters
    ----------
    patch
        Brightness about the candidate.
    left, top
        Of the patch in the picture.
    stride
        Every so many pixels are looked at.
    """

    def __init__(self, patch: FloatArray, left: int, top: int, *, stride: int) -> None:
        rows, columns = np.mgrid[0 : patch.shape[0] : stride, 0 : patch.shape[1] : stride]
        self._grey = patch[::stride, ::stride].ravel()
        self._xs, self._ys = columns.ravel() + float(left), rows.ravel() + float(top)
        self._last = np.full(5, np.nan)
        self._residual: FloatArray = self._grey
        self._levels: FloatArray = np.zeros(0)

    def _solve(self, p: FloatArray) -> None:
        if np.array_equal(p, self._last):
            return
        wide, tall = np.exp(p[2]), np.exp(p[2] + p[3])
        self._u, self._v = 2 * (self._xs - p[0]) / wide, 2 * (self._ys - p[1]) / tall
        self._r = np.hypot(self._u, self._v)  # 1 at the outer edge
        self._blur = np.exp(p[4]) * 2 / wide
        self._z = (self._r - EDGES[:, None]) / self._blur
        outside = 0.5 * (1 + erf(self._z / np.sqrt(2)))
        # A zone is what lies outside its inner edge and not outside its outer one.
        self._zones = np.concatenate([1 - outside[:1], outside[:-1] - outside[1:], outside[-1:]])
        self._normal = self._zones @ self._zones.T + 1e-6 * np.eye(len(self._zones))
        self._levels = np.linalg.solve(self._normal, self._zones @ self._grey)
        self._residual = self._grey - self._levels @ self._zones
        self._last = np.array(p)

    def residual(self, p: FloatArray) -> FloatArray:
        """Give what the rings leave of each pixel."""
        self._solve(p)
        return self._residual

    def levels(self, p: FloatArray) -> FloatArray:
        """Give the brightness of each zone from the middle out, and of what lies beyond."""
        self._solve(p)
        return self._levels

    def misfit(self, p: FloatArray) -> float:
        """Give the sum of squares that is left."""
        return float(np.sum(self.residual(p) ** 2))

    def variation(self) -> float:
        """Give the sum of squares about the mean."""
        return float(np.sum((self._grey - self._grey.mean()) ** 2))

    def explained(self, p: FloatArray) -> float:
        """Give the share that the rings explain of the variation within a little more than them."""
        wide = float(np.exp(p[2]))
        inside = np.hypot(self._xs - p[0], self._ys - p[1]) < 0.6 * wide
        if not inside.any():
            return 0.0
        grey = self._grey[inside]
        left = float(np.sum(self.residual(p)[inside] ** 2))
        return 1 - left / float(np.sum((grey - grey.mean()) ** 2) + 1e-9)

    def jacobian(self, p: FloatArray) -> FloatArray:
        """Give the slopes of the residual, with the brightness following along [2]."""
        self._solve(p)
        wide, tall = np.exp(p[2]), np.exp(p[2] + p[3])
        bell = np.exp(-0.5 * self._z**2) / (np.sqrt(2 * np.pi) * self._blur)
        steps = np.diff(self._levels)
        by_r, by_ln_blur = steps @ bell, -self._blur * (steps @ (bell * self._z))
        r = np.maximum(self._r, 1e-9)
        slopes = np.stack(
            [
                -2 * by_r * self._u / (wide * r),
                -2 * by_r * self._v / (tall * r),
                -by_r * r - by_ln_blur,
                -by_r * self._v**2 / r,
                by_ln_blur,
            ]
        )
        followed = np.linalg.solve(self._normal, self._zones @ slopes.T).T @ self._zones
        return np.asarray((followed - slopes).T, dtype=np.float64)

    def fit(self, start: FloatArray, *, tolerance: float) -> FloatArray:
        """Fit from a start."""
        unit = [1.0, 1.0, 0.05, 0.05, 0.5]
        fit = least_squares(
            self.residual,
            start,
            self.jacobian,
            x_scale=unit,
            max_nfev=20,
            ftol=tolerance,
            xtol=tolerance,
        )
        return np.asarray(fit.x, dtype=np.float64)


def _looks_like_a_face(levels: FloatArray, ln_aspect: float) -> bool:
    """Whether the zones are bright and dark in the order of the rule book."""
    gold, red, blue, black, white = levels[:5]
    contrast = white - black
    return bool(
        contrast > 25
        and gold > black + 0.3 * contrast
        and gold > max(red, blue) - 0.1 * contrast
        and black < min(red, blue) + 0.1 * contrast
        and white > max(red, blue) + 0.1 * contrast
        and abs(ln_aspect) < 0.15
    )
