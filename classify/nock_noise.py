"""Size and marking of a nock go in, how well a tracker can place it comes out.

These are assumptions for planning, before there is a clip; a reading uses the tracker's own sigma.
What is added to either, since no pixel's noise tells of it, is the same for both: else a plan would
promise what no reading can give.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Literal

import numpy as np
import numpy.typing as npt

from tracker.types import FloatArray, InputError

Marking = Literal["lit", "bright", "plain", "dark"]
"""A lighted nock; a bright or fluorescent one; an ordinary one; a dark one before a dark ground."""

MARKINGS: tuple[Marking, ...] = ("lit", "bright", "plain", "dark")

COMPRESSION_PX = 0.1
"""Standard error that is added to that of every place of the nock: claims are true of places one by
one, but compression and scenery push neighbouring places alike. Of 100 clear films, without it and
`SHAPE_SHARE`, 2 sigma of a fast swing held 87 % instead of 97 %, and three more were refused."""

SHAPE_SHARE = 0.03
"""The same for a tail unlike the tracker's model of it, as a share of the nock's diameter: while
the arrow is near, its vanes and what stands before it pull more than noise does."""


def believed_sigma_px(sigma_px: npt.ArrayLike, nock_px: npt.ArrayLike) -> FloatArray:
    """Give the standard error that the joint fit is told, from the one that was claimed.

    Parameters
    ----------
    sigma_px
        (n,) standard error of the nock's place along one axis, NaN where it was not seen.
    nock_px
        (n,) diameter of the nock in the picture, pixels; NaN counts as nought.

    Returns
    -------
    numpy.ndarray
        (n,) pixels; NaN stays.

    Examples
    --------
    >>> believed_sigma_px([0.05, 0.3], [8.0, 1.0]).round(2)
    array([0.26, 0.32])
    """
    floor = np.hypot(COMPRESSION_PX, SHAPE_SHARE * np.nan_to_num(np.asarray(nock_px)))
    return np.asarray(np.hypot(np.asarray(sigma_px, dtype=np.float64), floor))


@dataclass(frozen=True, kw_only=True)
class NockNoise:
    """What planning assumes of the tracker; all of it chosen here.

    Attributes
    ----------
    contrast
        Brightness of a well resolved nock over its surroundings, in units of the noise of one
        pixel (grain, compression and moving background together), by marking.
    spread_px
        The lens and the codec spread a point over this many pixels: a smaller nock loses contrast
        with the area it covers.
    floor_px
        However bright the nock, camera shake, compression and the shape of the nock leave this.
    bound
        Sigma times contrast at the limit of what the pixels hold, 0.798 for a spot wider than one
        pixel; measured refinement comes within a few per cent of it.
    least_contrast
        Below this the nock is lost: a path finder follows 96 % of the frames at 2.
    """

    contrast: Mapping[Marking, float] = field(
        default_factory=lambda: MappingProxyType(
            {"lit": 50.0, "bright": 20.0, "plain": 8.0, "dark": 4.0}
        )
    )
    spread_px: float = 1.5
    floor_px: float = 0.05
    bound: float = 0.8
    least_contrast: float = 2.0

    def sigma_px(self, nock_px: npt.ArrayLike, marking: Marking) -> FloatArray:
        """Give the standard error of the nock's place along each axis.

        Parameters
        ----------
        nock_px
            (n,) diameter of the nock in the picture, pixels.
        marking
            How it stands out.

        Returns
        -------
        numpy.ndarray
            (n,) pixels; NaN where the nock is too faint to be followed.

        Raises
        ------
        InputError
            If the marking is none of the known ones.

        Examples
        --------
        >>> NockNoise().sigma_px([3.0, 1.5, 0.75, 0.3], "plain").round(2)
        array([0.1, 0.1, 0.4, nan])
        """
        if marking not in self.contrast:
            raise InputError("plan.bad_marking", found=marking, known=", ".join(self.contrast))
        width = np.asarray(nock_px, dtype=np.float64)
        contrast = self.contrast[marking] * np.minimum(1.0, (width / self.spread_px) ** 2)
        seen = contrast >= self.least_contrast
        sigma = np.maximum(self.floor_px, self.bound / np.where(seen, contrast, 1.0))
        return np.where(seen, sigma, np.nan)


USUAL_NOISE = NockNoise()
