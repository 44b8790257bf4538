"""How well a rendered tail can be placed at all: a plan and a frame go in, the bound comes out.

The Cramér-Rao bound of a place in pixels of known noise: the inverse of the sum over pixels of
the squared slope of the noise-free picture with the place, over the pixel's variance [1]. The
slopes come from rendering the tail a twentieth of a pixel to either side.

References
----------
[1] S. M. Kay, "Fundamentals of Statistical Signal Processing: Estimation Theory", Prentice Hall
    1993, section 3.9.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from fixtures.plan import FlightPlan
from fixtures.render import exposed_tail, render
from fixtures.scene import MARGIN_PX, make_plate
from fixtures.tail import laid_over
from fixtures.truth import Shot, shoot
from tracker.types import FloatArray

NUDGE_PX = 0.05
ROLL_NUDGE_RAD = 0.02
TILT_NUDGE = 0.002
ROLL_SIGMA_RAD, TILT_SIGMA = np.pi, np.radians(3.0)
"""What is known beforehand where the pose is not: nothing of the roll, and that arrows tilt up to 3
degrees (Appl. Sci. 2025, 15(4), 2168)."""
ROUNDING_DN2 = 1 / 12
"""Variance that rounding to whole grey levels adds."""

ALIKE_DN = 1.6
"""The noise-free film may differ from the tail laid over the scene by rounding, twice."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Bound:
    """Least standard error of the nock's place in one frame.

    Attributes
    ----------
    known_px
        (2,) per axis, if roll and tilt of the arrow were known.
    unknown_px
        (2,) if the roll and both tilts have to be found from the same pixels.
    """

    known_px: FloatArray
    unknown_px: FloatArray


class TailBound:
    """Bounds for the frames of one film, which must have been filmed by a still camera.

    Parameters
    ----------
    plan
        Of the film: no shake, no gamma, no leaves.
    seed
        Of the film.

    Raises
    ------
    ValueError
        If the camera shakes or has a gamma.
    """

    def __init__(self, plan: FlightPlan, *, seed: int) -> None:
        if plan.shake.rms_px or plan.shake.rotation_deg or plan.sensor.gamma != 1.0:
            raise ValueError("bounds are for a still camera without gamma")
        self.plan = plan
        silent = replace(plan, sensor=replace(plan.sensor, read_dn=0.0, shot_dn=0.0))
        self._film = render(silent, seed=seed)
        plate = make_plate(plan, seed=seed).luma
        height, width = plan.camera.height_px, plan.camera.width_px
        inner = plate[MARGIN_PX : MARGIN_PX + height, MARGIN_PX : MARGIN_PX + width]
        self.scene = inner.astype(np.float32)
        self._shot: Shot = shoot(plan, seed=seed)

    def at(self, row: int) -> Bound | None:
        """Work out the bound in a frame; None where archer or bow is in front of or near the tail.

        Parameters
        ----------
        row
            Number of the frame.

        Returns
        -------
        Bound or None
        """
        drawn = self.picture(row)
        if drawn is None:
            return None
        box, clean = drawn
        film = next(iter(self._film.frames(first=row, last=row + 1))).astype(np.float32)
        if np.abs(film[box] - clean).max() > ALIKE_DN:
            return None
        slopes = self._slopes(row, box)
        sensor = self.plan.sensor
        variance = sensor.read_dn**2 + sensor.shot_dn**2 * clean / 255 + ROUNDING_DN2
        lit = clean < 254.5  # clipped pixels tell nothing
        weight = np.where(lit, 1 / variance, 0.0).ravel()
        information = (slopes * weight) @ slopes.T
        known = np.linalg.inv(information[:2, :2])
        prior = np.diag([0, 0, ROLL_SIGMA_RAD**-2, TILT_SIGMA**-2, TILT_SIGMA**-2])
        unknown = np.linalg.inv(information + prior)
        return Bound(known_px=np.sqrt(np.diag(known)), unknown_px=np.sqrt(np.diag(unknown)[:2]))

    def picture(
        self,
        row: int,
        *,
        box: tuple[slice, slice] | None = None,
        move: FloatArray | None = None,
        roll: float = 0.0,
        tilt: FloatArray | None = None,
    ) -> tuple[tuple[slice, slice], FloatArray] | None:
        """Lay the tail over the scene, with its pose nudged, and cut a box out."""
        now, since = self._shot.state, float(self._shot.since_release_s[row])
        raw = self._shot.truth.xy_raw_px[row] + (0.0 if move is None else move)
        if roll:
            now = replace(now, roll_rad=now.roll_rad + roll)
        if tilt is not None:
            axis = now.axis.copy()
            axis[row, :2] += tilt
            axis[row] /= np.linalg.norm(axis[row])
            now = replace(now, axis=axis)
        patch = exposed_tail(self.plan, now, row, since, raw)
        if patch is None:
            return None
        if box is None:
            h, w = patch.cover.shape
            x0, y0 = max(patch.x0 - 2, 0), max(patch.y0 - 2, 0)
            box = (slice(y0, patch.y0 + h + 2), slice(x0, patch.x0 + w + 2))
        y, x = box
        scene = self.scene[box].copy()
        laid_over(scene, replace(patch, x0=patch.x0 - x.start, y0=patch.y0 - y.start))
        return box, scene.astype(np.float64)

    def _slopes(self, row: int, box: tuple[slice, slice]) -> FloatArray:
        """(5, pixels) of the picture with place x and y, roll, tilt right and up."""

        def slope(draw: Callable[[float], FloatArray], by: float) -> FloatArray:
            return ((draw(by) - draw(-by)) / (2 * by)).ravel()

        def moved(axis: int) -> Callable[[float], FloatArray]:
            return lambda by: self._at(row, box, move=by * np.eye(2)[axis])

        def tilted(axis: int) -> Callable[[float], FloatArray]:
            return lambda by: self._at(row, box, tilt=by * np.eye(2)[axis])

        return np.stack(
            [
                slope(moved(0), NUDGE_PX),
                slope(moved(1), NUDGE_PX),
                slope(lambda by: self._at(row, box, roll=by), ROLL_NUDGE_RAD),
                slope(tilted(0), TILT_NUDGE),
                slope(tilted(1), TILT_NUDGE),
            ]
        )

    def _at(
        self,
        row: int,
        box: tuple[slice, slice],
        *,
        move: FloatArray | None = None,
        roll: float = 0.0,
        tilt: FloatArray | None = None,
    ) -> FloatArray:
        drawn = self.picture(row, box=box, move=move, roll=roll, tilt=tilt)
        if drawn is None:
            raise ValueError("the tail is out of the picture")
        return drawn[1]
