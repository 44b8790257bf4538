"""The target face in the still scene: its middle and its diameter, in pixels.

The plate of a clip goes in; centre and diameter with a standard error come out, or None where
nothing in it is surely a face. Only brightness is looked at, and no size in metres is known here.

A ten-zone face is white, black, blue, red and gold from the outside in, each a fifth of the
diameter (World Archery rule book). In grey: bright, dark, middling, middling, bright.

References
----------
.. [1] J. P. Lewis, "Fast normalized cross-correlation", Vision Interface (1995) 120-123.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from scipy.optimize import least_squares
from scipy.special import erf

from tracker.types import ByteArray, FloatArray

ZONE_LUMA = (0.75, 0.35, 0.45, 0.1, 0.9)
"""Gold, red, blue, black, white as shares of white; the fit frees them, the search does not."""

SEARCH_PX = 16
"""The picture is shrunk until the face it looks for has this diameter."""

STEP = 1.08
"""From one diameter looked for to the next."""

LEAST_SCORE = 0.55
WORTH_A_FIT = 0.3
LEAST_FIT = 0.9
"""Correlation of a candidate, share of the variance about it that the proposed rings explain, and
share inside it that the fitted ones explain; chosen here from faces on leaves, grass and walls."""

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
    found: list[tuple[float, float, float, float]] = []
    diameter = float(SEARCH_PX)
    while diameter < 0.9 * min(plate.shape):
        scale = SEARCH_PX / diameter
        small = cv2.resize(plate, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
        score = cv2.matchTemplate(small.astype(np.float32), template, cv2.TM_CCOEFF_NORMED)
        for _ in range(4):
            _, top, _, (column, row) = cv2.minMaxLoc(score)
            if top < LEAST_SCORE:
                break
            found.append(
                (
                    float(top),
                    (column + half + 0.5) / scale - 0.5,
                    (row + half + 0.5) / scale - 0.5,
                    diameter,
                )
            )
            cv2.circle(score, (column, row), half, -1.0, -1)
        diameter *= STEP
    found.sort(reverse=True)
    kept: list[tuple[float, float, float]] = []
    for _, cx, cy, d in found:
        if all(np.hypot(cx - a, cy - b) > 0.3 * max(d, e) for a, b, e in kept):
            kept.append((cx, cy, d))
    return kept[:8]


def _fit_rings(plate: ByteArray, x: float, y: float, diameter: float) -> tuple[float, Face] | None:
    """Fit blurred rings around a candidate; give how much they explain, and the face."""
    reach = int(0.62 * diameter) + 3
    left, top = round(x) - reach, round(y) - reach
    if left < 0 or top < 0 or left + 2 * reach >= plate.shape[1]:
        return None
    if top + 2 * reach >= plate.shape[0]:
        return None
    patch = plate[top : top + 2 * reach + 1, left : left + 2 * reach + 1].astype(np.float64)
    stride = max(1, round(diameter / 60))
    rows, columns = np.mgrid[0 : 2 * reach + 1 : stride, 0 : 2 * reach + 1 : stride]
    grey = patch[::stride, ::stride].ravel()
    xs, ys = columns.ravel() + float(left), rows.ravel() + float(top)

    def residual_of(p: FloatArray) -> FloatArray:
        return _misfit(p, xs, ys, grey)[0]

    unit = [1.0, 1.0, 0.05, 0.05, 0.5]
    starts = [np.array([x, y, np.log(diameter * k), 0.0, 0.0]) for k in (0.92, 1.0, 1.09)]
    rough = [float(np.sum(residual_of(start) ** 2)) for start in starts]
    if min(rough) > (1 - WORTH_A_FIT) * float(np.sum((grey - grey.mean()) ** 2)):
        return None
    tried = [starts[i] for i in np.argsort(rough)[:2]]
    fits = [least_squares(residual_of, start, x_scale=unit, max_nfev=20) for start in tried]
    fit = min(fits, key=lambda one: float(one.cost))
    residual, levels = _misfit(fit.x, xs, ys, grey)
    wide = float(np.exp(fit.x[2]))
    inside = np.hypot(xs - fit.x[0], ys - fit.x[1]) < 0.6 * wide
    if not inside.any():
        return None
    explained = 1 - float(np.sum(residual[inside] ** 2)) / float(
        np.sum((grey[inside] - grey[inside].mean()) ** 2) + 1e-9
    )
    if explained < LEAST_FIT or not _looks_like_a_face(levels, float(fit.x[3])):
        return None
    spread = float(np.sqrt(np.mean(residual**2)))
    J = np.asarray(fit.jac, dtype=np.float64)
    covariance = np.linalg.pinv(J.T @ J)
    # Neighbouring pixels err together: an error of the model counts once for each blur's width.
    sigma = wide * spread * float(np.sqrt(max(covariance[2, 2], 0.0))) * 2.0
    face = Face(
        x_px=float(fit.x[0]),
        y_px=float(fit.x[1]),
        diameter_px=wide,
        sigma_px=float(np.hypot(sigma, MODEL_SIGMA * wide)),
    )
    return explained, face


def _misfit(
    p: FloatArray, xs: FloatArray, ys: FloatArray, grey: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Residual of blurred rings (x, y, ln diameter, ln height/width, ln blur), zones refitted."""
    wide, tall = np.exp(p[2]), np.exp(p[2] + p[3])
    r = np.hypot((xs - p[0]) / wide, (ys - p[1]) / tall) * 2  # 1 at the outer edge
    blur = np.exp(p[4]) * 2 / wide
    edges = [0.5 * (1 + erf((r - k) / (blur * np.sqrt(2)))) for k in (0.2, 0.4, 0.6, 0.8, 1.0)]
    outside = [np.zeros_like(r), *edges, np.ones_like(r)]
    columns = np.stack(
        [inner_edge - outer_edge for inner_edge, outer_edge in _zones(outside)], axis=1
    )
    normal = columns.T @ columns + 1e-6 * np.eye(columns.shape[1])
    levels: FloatArray = np.asarray(np.linalg.solve(normal, columns.T @ grey), dtype=np.float64)
    return grey - columns @ levels, levels


def _zones(outside: list[FloatArray]) -> list[tuple[FloatArray, FloatArray]]:
    """Pair up, for each zone and what lies beyond, being outside its inner and its outer edge."""
    ones, zeros = outside[-1], outside[0]
    inner = [ones, *outside[1:-1]]
    outer = [*outside[1:-1], zeros]
    return list(zip(inner, outer, strict=True))


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
