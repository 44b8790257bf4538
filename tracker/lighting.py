"""Light that flickers: a frame goes in, it comes out as bright as the reference frame.

Lamps on the mains brighten 100 or 120 times a second, and a phone that reads its picture row by row
shows that as bands that wander. Knows nothing of what the picture shows: what moves in it (archer,
passers-by) is outvoted.
"""

from __future__ import annotations

from functools import lru_cache

import cv2
import numpy as np
import numpy.typing as npt

from tracker.stabilise import CameraMotion, smaller
from tracker.types import ByteArray, FloatArray

BANDS, COLUMNS = 8, 16
"""Places whose brightness is compared; the median of a band's columns counts."""

FINER, SPREAD = 4, 0.3
"""Pixels of the small picture between two places, at least, and the standard deviation about a
place, as a share of that distance, of what is averaged there: an edge that moves changes it little.
"""

BEND = 3
"""Degree of the polynomial over the rows: a frame is read within half a wave."""

DARKEST, BRIGHTEST = 8.0, 240.0
"""Grey levels between which brightness tells anything: a sky may be as white as white can be."""

FEWEST_LIT = 6
"""Places of a band without which it tells nothing (chosen here)."""

STEADY, MOSTLY, FEWEST_LESSONS = 0.006, 80.0, 4
"""Share by which the brightness of a frame differs less under daylight, in so many per cent of the
frames, and how many tell (chosen here: rendered daylight wavers by 0.003, lamps by 0.01 and more).
"""

LEAST_SPREAD = 0.003
"""Share by which a band's brightness may always be wrong (chosen here)."""

_POWERS = np.vander(np.arange(float(BANDS)), BEND + 1)


class Lighting:
    """Brightness of one reference frame, for others to be held to.

    Parameters
    ----------
    luma
        (height, width) reference frame.

    Examples
    --------
    >>> reference = np.full((80, 160), 100, dtype=np.uint8)
    >>> dimmed = np.full((80, 160), 95, dtype=np.uint8)
    >>> int(Lighting(reference).steadied(dimmed)[40, 80])
    100
    """

    def __init__(self, luma: ByteArray) -> None:
        height, self._width = luma.shape
        # a phone reads row by row, with the rows along the longer side
        self._axis = int(height > self._width)
        self._places = _places(height, self._width)
        self._reference = self._brightness(luma, None)
        self._strayed: list[float] = []
        self._daylight = False

    def learn(self) -> None:
        """Leave frames alone from now on, if those so far were as bright as the reference."""
        if len(self._strayed) >= FEWEST_LESSONS:
            self._daylight = bool(np.percentile(self._strayed, MOSTLY) < STEADY)

    def steadied(
        self, luma: ByteArray, motion: CameraMotion | None = None, own: Lighting | None = None
    ) -> ByteArray:
        """Make a frame as bright as the reference frame.

        Parameters
        ----------
        luma
            (height, width) frame, or that made smaller by whole blocks.
        motion
            The camera's, about: else a shaken edge seems to be light that changed.
        own
            That frame's own, if it is known already and no motion is.

        Returns
        -------
        numpy.ndarray
            The frame itself under what was learnt to be daylight.
        """
        if self._daylight:
            return luma
        now = self._brightness(luma, motion) if own is None else own._reference
        share = self._share(now, luma.shape[self._axis])
        self._strayed.append(float(np.abs(share - 1).max()))
        gain = np.expand_dims((1 / share).astype(np.float32), 1 - self._axis)
        every = np.ascontiguousarray(np.broadcast_to(gain, luma.shape))
        return np.asarray(cv2.multiply(luma, every, dtype=cv2.CV_8U), dtype=np.uint8)

    def _share(self, now: FloatArray, rows: int) -> FloatArray:
        """(rows,) brightness of each row, as it was read, over the reference frame's."""
        lit = np.minimum(now, self._reference) > DARKEST
        lit &= np.maximum(now, self._reference) < BRIGHTEST
        told = lit.sum(axis=1) >= FEWEST_LIT
        if told.sum() <= BEND:
            return np.ones(rows)
        share, spread = _middle_of(now / np.maximum(self._reference, 1.0), lit)
        # a skyline tells less of the light than a meadow does
        trust = np.where(told, 1 / (spread**2 + LEAST_SPREAD**2), 0.0)
        pull = _POWERS.T * trust
        curve = np.linalg.solve(pull @ _POWERS, pull @ np.where(told, share, 0.0))
        return np.polyval(curve, (np.arange(rows) + 0.5) * (BANDS / rows) - 0.5)

    def _brightness(self, luma: ByteArray, motion: CameraMotion | None) -> FloatArray:
        """(BANDS, COLUMNS) mean brightness about the places, wherever they went."""
        short, long = sorted(luma.shape)
        reduce = max(1, min(long // (FINER * COLUMNS), short // (FINER * BANDS)))
        soft = cv2.GaussianBlur(
            smaller(luma, reduce).astype(np.float32),
            (0, 0),
            SPREAD * long / reduce / COLUMNS,
            borderType=cv2.BORDER_REFLECT,
        )
        at = self._places
        if motion is not None:
            at = motion.to_raw(at.reshape(-1, 2)).reshape(at.shape)
        # whole blocks are averaged, in the frame that was made smaller already, too
        at = (at + 0.5) / (reduce * round(self._width / luma.shape[1])) - 0.5
        x, y = np.moveaxis(at, -1, 0).astype(np.float32)
        there = cv2.remap(soft, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        return np.asarray(there, dtype=np.float64)


@lru_cache(maxsize=8)
def _places(height: int, width: int) -> FloatArray:
    """(BANDS, COLUMNS, 2) where brightness is compared, bands across the longer side."""
    band, column = np.indices((BANDS, COLUMNS)) + 0.5
    over = band * (min(height, width) / BANDS) - 0.5
    along = column * (max(height, width) / COLUMNS) - 0.5
    places = np.stack([over, along] if height > width else [along, over], axis=-1)
    places.setflags(write=False)
    return places


def _middle_of(ratio: FloatArray, lit: npt.NDArray[np.bool_]) -> tuple[FloatArray, FloatArray]:
    """(BANDS,) median, and half the distance of the quartiles, of what is lit in each band."""
    row = np.sort(np.where(lit, ratio, np.nan), axis=1)  # gaps come last
    last, band = np.maximum(lit.sum(axis=1) - 1, 0), np.arange(BANDS)
    middle = (row[band, last // 2] + row[band, (last + 1) // 2]) / 2
    return middle, (row[band, 3 * last // 4] - row[band, last // 4]) / 2
