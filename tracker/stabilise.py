"""The camera's own motion, from the scenery: a frame goes in, where its picture went comes out.

Knows nothing of arrows: corners of one reference frame are followed by Lucas-Kanade,
and a shift and turn are agreed on by most of them, so that what was lost or moves by itself
(archer, bow, arrow, passers-by) is outvoted. Coordinates are transformed, never pixels.

References
----------
[1] B. D. Lucas and T. Kanade, "An iterative image registration technique", IJCAI 1981, 674-679.
[2] J. Shi and C. Tomasi, "Good features to track", CVPR 1994, 593-600.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from tracker.types import ByteArray, FloatArray

Points = npt.NDArray[np.float32]

CELLS_ACROSS = 12
"""Cells along the longer side of the picture; each gives a corner and an edge."""

WINDOW_PX = 21
"""Side of the square that is followed around a landmark."""

LEAST_GRADIENT = 40.0
"""Sum of squared slopes in the square below which there is nothing to follow."""

NOISE_LEVELS, LANDMARK_PX = 60.0, 0.3
"""Grey levels by which two pictures of one place differ, times the square root of the pixels that
count as one because compression freezes faint texture as a block; least error of a place."""

FEWEST_LESSONS, LESSON = 6, 4
"""Frames from which a landmark's own error is learnt, and those that all landmarks lend it."""

SCALES = (1e-3, 10.0)
"""Bounds of a landmark's variance over what its texture says."""

MOST_AGREE = 0.6
"""Share of the landmarks that agree where the camera was not jolted (chosen here)."""

FEWEST_CORNERS = 6
"""Below this a motion is not agreed on but guessed (chosen here)."""

TURN_RAD = 0.004
"""How far a hand turns a phone within a shot, one standard deviation (chosen here)."""

STRAY_PX, FORGET = 0.4, 0.2
"""Mean distance from the agreed motion at which a corner counts half, and the share by which each
frame renews that mean."""


@dataclass(frozen=True, kw_only=True, eq=False)
class CameraMotion:
    """Where the reference picture went in one frame.

    Attributes
    ----------
    matrix
        (2, 3) shift and turn: raw = matrix[:, :2] @ reference + matrix[:, 2], pixels.
    inliers
        Corners that agree; 0 where the scenery gave no answer and the identity stands in.
    residual_px
        Root mean square distance of the agreeing corners from the transform.
    """

    matrix: FloatArray
    inliers: int
    residual_px: float

    def to_raw(self, xy_px: FloatArray) -> FloatArray:
        """Carry (n, 2) reference coordinates into the raw frame."""
        return np.asarray(xy_px @ self.matrix[:, :2].T + self.matrix[:, 2])

    def to_reference(self, xy_px: FloatArray) -> FloatArray:
        """Carry (n, 2) raw coordinates into the reference frame."""
        inverse = np.linalg.inv(self.matrix[:, :2])
        return np.asarray((xy_px - self.matrix[:, 2]) @ inverse.T)


STILL = np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]])


def smaller(luma: ByteArray, reduce: int) -> ByteArray:
    """Make a picture smaller by averaging whole blocks.

    Parameters
    ----------
    luma
        (height, width)
    reduce
        Side of a block.

    Returns
    -------
    numpy.ndarray
        (height // reduce, width // reduce), a copy.
    """
    if reduce == 1:
        return luma.copy()
    h, w = luma.shape[0] // reduce, luma.shape[1] // reduce
    block = luma[: h * reduce, : w * reduce]
    return np.asarray(cv2.resize(block, (w, h), interpolation=cv2.INTER_AREA), dtype=np.uint8)


class Scenery:
    """Corners of one reference frame, to be found again in others.

    Parameters
    ----------
    luma
        (height, width) reference frame.
    reduce
        Work on a picture made this many times smaller.
    """

    def __init__(self, luma: ByteArray, reduce: int = 1) -> None:
        self.reduce = reduce
        self._reference = smaller(luma, reduce)
        self._corners, self._noise = _landmarks(self._reference)
        self._last = STILL
        self._strayed = np.zeros(len(self._corners))
        source = self._corners[:, 0].astype(np.float64)
        self._middle = source.mean(axis=0) if len(source) else np.zeros(2)
        arm = source - self._middle
        # of each landmark by shift right, shift down and turn
        self._slopes = np.zeros((len(source), 2, 3))
        self._slopes[:, 0, 0] = self._slopes[:, 1, 1] = 1
        self._slopes[:, :, 2] = np.stack([-arm[:, 1], arm[:, 0]], axis=1)
        self._missed: list[FloatArray] = []
        self._weigh(np.ones(len(source)))

    def _weigh(self, scale: FloatArray) -> None:
        """Trust each landmark as its texture says, its variance scaled."""
        # an edge tells nothing of the motion along it: each landmark has its own ellipse
        spread = self._noise * scale[:, None, None] + LANDMARK_PX**2 * np.eye(2)
        self._inform = np.linalg.inv(spread)
        pull = self._slopes.transpose(0, 2, 1) @ self._inform
        # flat, since products of many tiny matrices are slow
        self._grip = (pull @ self._slopes).reshape(-1, 9)
        self._pull = pull.transpose(0, 2, 1).reshape(-1, 3)

    def learn(self) -> None:
        """Trust each landmark from now on as it has shown itself in the frames so far.

        How well faint texture can be followed depends on the film's compression: where it is kept
        a hundred faint landmarks outvote the archer's few sharp ones, as they should.
        """
        if len(self._missed) < FEWEST_LESSONS or not len(self._corners):
            return
        far2 = np.stack(self._missed)
        count = np.isfinite(far2).sum(axis=0)
        # 1.386 is the median of chi-square with two degrees of freedom
        usual = float(np.nanmedian(far2)) / 1.386
        total = np.nansum(far2, axis=0)
        scale = (2 * LESSON * usual + total) / (2 * LESSON + 2 * count)
        self._weigh(np.clip(scale, *SCALES))
        self._missed = []
        self._last = STILL

    def motion(self, luma: ByteArray) -> CameraMotion:
        """Find where the reference picture went in a frame.

        Starts from the answer of the frame before, so frames are best given in order.

        Parameters
        ----------
        luma
            (height, width) frame of the same size as the reference.

        Returns
        -------
        CameraMotion
            The identity with no inliers where the scenery does not tell.
        """
        return self.motion_of(smaller(luma, self.reduce))

    def motion_of(self, small: ByteArray) -> CameraMotion:
        """Find the motion in a frame that was made smaller already; see `motion`."""
        if len(self._corners) < FEWEST_CORNERS:
            return CameraMotion(matrix=STILL, inliers=0, residual_px=np.nan)
        start = self._corners[:, 0] @ self._last[:, :2].T + self._last[:, 2]
        guess = np.ascontiguousarray(start[:, None], dtype=np.float32)
        source = self._corners[:, 0].astype(np.float64)
        # a hand moves little from frame to frame; a jolt is looked for in coarser pictures too
        for levels in (0, 2):
            there, found = _followed(self._reference, small, self._corners, guess, levels)
            target = there[:, 0].astype(np.float64)
            usable = found[:, 0] == 1
            matrix, weight, miss = self._agreed(source, target, usable)
            agree = weight > 0.25
            if agree.sum() > MOST_AGREE * len(source):
                break
        if agree.sum() < FEWEST_CORNERS:
            return CameraMotion(matrix=self._full_size(self._last), inliers=0, residual_px=np.nan)
        self._last = matrix
        self._missed.append(np.where(usable, (miss / LANDMARK_PX) ** 2, np.nan))
        self._strayed += FORGET * (np.where(usable, np.minimum(miss, 4.0), 4.0) - self._strayed)
        return CameraMotion(
            matrix=self._full_size(matrix),
            inliers=int(agree.sum()),
            residual_px=float(np.sqrt((miss[agree] ** 2).mean())) * self.reduce,
        )

    def _agreed(
        self, source: FloatArray, target: FloatArray, usable: npt.NDArray[np.bool_]
    ) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Fit shift and turn with Cauchy weights, starting from the frame before.

        A corner that has strayed in earlier frames (the archer's, a passer-by's) counts less.
        """
        matrix = self._last
        trust = usable / (1 + (self._strayed / STRAY_PX) ** 2)
        middle = self._middle
        for widen in (8.0, 4.0, 2.0, 1.0, 1.0, 1.0):
            left = target - (source @ matrix[:, :2].T + matrix[:, 2])
            w = trust / (1 + self._far2(left) / (4 * widen**2)) / widen**2
            N = (w @ self._grip).reshape(3, 3) + np.diag([1e-6, 1e-6, 0.0])
            g = (w[:, None] * left).ravel() @ self._pull
            # the turn is held to what a hand does
            angle = float(np.arctan2(matrix[1, 0], matrix[0, 0]))
            N[2, 2] += TURN_RAD**-2.0
            g[2] -= TURN_RAD**-2.0 * angle
            step = np.linalg.solve(N, g)
            angle += float(step[2])
            turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
            at_middle = matrix[:, :2] @ middle + matrix[:, 2] + step[:2]
            matrix = np.column_stack([turn, at_middle - turn @ middle])
        left = target - (source @ matrix[:, :2].T + matrix[:, 2])
        miss = np.sqrt(self._far2(left))
        return matrix, np.asarray(trust / (1 + miss**2 / 4)), miss * LANDMARK_PX

    def _far2(self, left: FloatArray) -> FloatArray:
        """Squared distances in each landmark's own standard errors, (m,)."""
        x, y, inform = left[:, 0], left[:, 1], self._inform
        across = 2 * x * y * inform[:, 0, 1]
        return np.asarray(inform[:, 0, 0] * x**2 + across + inform[:, 1, 1] * y**2)

    def _full_size(self, matrix: FloatArray) -> FloatArray:
        """Undo the reduction; the centre of small pixel 0 is at (reduce - 1) / 2."""
        if self.reduce == 1:
            return matrix
        centre = (self.reduce - 1) / 2
        shift = matrix[:, 2] * self.reduce + centre - matrix[:, :2] @ np.full(2, centre)
        return np.column_stack([matrix[:, :2], shift])


def _landmarks(luma: ByteArray) -> tuple[Points, FloatArray]:
    """Choose a corner and an edge in each cell that has any, with how well each can be placed.

    Returns
    -------
    points : numpy.ndarray
        (m, 1, 2) places.
    noise : numpy.ndarray
        (m, 2, 2) covariance of a place found again, square pixels, that the texture leaves: narrow
        across an edge, wide along it.
    """
    h, w = luma.shape
    fine = cv2.GaussianBlur(luma.astype(np.float32), (0, 0), 1.0)
    gx, gy = cv2.Sobel(fine, -1, 1, 0, scale=0.125), cv2.Sobel(fine, -1, 0, 1, scale=0.125)
    window = (WINDOW_PX, WINDOW_PX)
    a, b, c = (cv2.boxFilter(g, -1, window, normalize=False) for g in (gx * gx, gx * gy, gy * gy))
    half = np.sqrt((a - c) ** 2 / 4 + b * b)
    corner, edge = (a + c) / 2 - half, (a + c) / 2 + half
    side = max(w, h) / CELLS_ACROSS
    points: list[tuple[int, int]] = []
    rim = WINDOW_PX
    for y0 in np.arange(rim, h - rim - side / 2, side):
        for x0 in np.arange(rim, w - rim - side / 2, side):
            y1, x1 = int(min(y0 + side, h - rim)), int(min(x0 + side, w - rim))
            for map_ in (corner, edge):
                cell = map_[int(y0) : y1, int(x0) : x1]
                iy, ix = np.unravel_index(int(cell.argmax()), cell.shape)
                points.append((int(x0) + int(ix), int(y0) + int(iy)))
    points = sorted({p for p in points if edge[p[1], p[0]] > LEAST_GRADIENT})
    at = np.array(points, dtype=np.int64).reshape(-1, 2)
    x, y = at[:, 0], at[:, 1]
    tensor = np.stack([np.stack([a[y, x], b[y, x]], 1), np.stack([b[y, x], c[y, x]], 1)], 1)
    noise = NOISE_LEVELS**2 * np.linalg.inv(tensor.astype(np.float64) + np.eye(2))
    return at[:, None].astype(np.float32), np.asarray(noise, dtype=np.float64)


def _followed(
    before: ByteArray, after: ByteArray, corners: Points, guess: Points, levels: int
) -> tuple[Points, ByteArray]:
    """Follow corners (m, 1, 2) from one picture to another [1]."""
    there, found, _ = cv2.calcOpticalFlowPyrLK(
        before,
        after,
        corners,
        guess,
        winSize=(WINDOW_PX, WINDOW_PX),
        maxLevel=levels,
        flags=cv2.OPTFLOW_USE_INITIAL_FLOW,
        minEigThreshold=1e-6,
    )
    return np.asarray(there, dtype=np.float32), np.asarray(found, dtype=np.uint8)
