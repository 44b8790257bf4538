"""The camera's own motion, from the scenery: a frame goes in, where its picture went comes out.

Knows nothing of arrows: corners of one reference frame are followed by Lucas-Kanade,
and a similarity transform is agreed on by most of them, so that what was lost or moves by itself
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

CORNERS = 160
"""Enough for 0.01 px on photographs; more only cost time (chosen here)."""

FEWEST_CORNERS = 10
"""Below this a similarity transform is not agreed on but guessed (chosen here)."""


@dataclass(frozen=True, kw_only=True, eq=False)
class CameraMotion:
    """Where the reference picture went in one frame.

    Attributes
    ----------
    matrix
        (2, 3) similarity: raw = matrix[:, :2] @ reference + matrix[:, 2], pixels.
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
        self._reference = self._small(luma)
        h, w = self._reference.shape
        corners = cv2.goodFeaturesToTrack(
            self._reference, CORNERS, qualityLevel=0.01, minDistance=max(6.0, (w * h) ** 0.5 / 40)
        )
        self._corners: Points = np.zeros((0, 1, 2), np.float32)
        if corners is not None:
            self._corners = np.asarray(corners, dtype=np.float32)
        self._last = STILL

    def _small(self, luma: ByteArray) -> ByteArray:
        if self.reduce == 1:
            return np.ascontiguousarray(luma)
        h, w = luma.shape[0] // self.reduce, luma.shape[1] // self.reduce
        return np.asarray(
            cv2.resize(
                luma[: h * self.reduce, : w * self.reduce], (w, h), interpolation=cv2.INTER_AREA
            )
        )

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
        if len(self._corners) < FEWEST_CORNERS:
            return CameraMotion(matrix=STILL, inliers=0, residual_px=np.nan)
        small = self._small(luma)
        start = self._corners[:, 0] @ self._last[:, :2].T + self._last[:, 2]
        guess = np.ascontiguousarray(start[:, None], dtype=np.float32)
        there, ok1 = _followed(self._reference, small, self._corners, guess)
        good = ok1[:, 0] == 1
        if good.sum() < FEWEST_CORNERS:
            return CameraMotion(matrix=STILL, inliers=0, residual_px=np.nan)
        source, target = self._corners[good, 0], there[good, 0]
        matrix, inlier = cv2.estimateAffinePartial2D(
            source, target, method=cv2.RANSAC, ransacReprojThreshold=0.6, maxIters=400
        )
        if matrix is None or inlier.sum() < FEWEST_CORNERS:
            return CameraMotion(matrix=STILL, inliers=0, residual_px=np.nan)
        agree = inlier[:, 0] == 1
        self._last = matrix
        miss = source[agree] @ matrix[:, :2].T + matrix[:, 2] - target[agree]
        return CameraMotion(
            matrix=self._full_size(matrix),
            inliers=int(agree.sum()),
            residual_px=float(np.sqrt((miss**2).sum(axis=1).mean())) * self.reduce,
        )

    def _full_size(self, matrix: FloatArray) -> FloatArray:
        """Undo the reduction; the centre of small pixel 0 is at (reduce - 1) / 2."""
        if self.reduce == 1:
            return matrix
        centre = (self.reduce - 1) / 2
        shift = matrix[:, 2] * self.reduce + centre - matrix[:, :2] @ np.full(2, centre)
        return np.column_stack([matrix[:, :2], shift])


def _followed(
    before: ByteArray, after: ByteArray, corners: Points, guess: Points
) -> tuple[Points, ByteArray]:
    """Follow corners (m, 1, 2) from one picture to another [1]."""
    there, found, _ = cv2.calcOpticalFlowPyrLK(
        before,
        after,
        corners,
        guess,
        winSize=(15, 15),
        maxLevel=2,
        flags=cv2.OPTFLOW_USE_INITIAL_FLOW,
    )
    return np.asarray(there, dtype=np.float32), np.asarray(found, dtype=np.uint8)
