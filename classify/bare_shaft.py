"""Bare shafts against fletched arrows: impacts go in; the offset and its region come out.

Knows nothing of causes, and nothing of hands: right and up are as the archer sees the target.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from classify.chances import f_beyond, f_limit, t_below, t_limit
from classify.impacts import LEVEL, GroupSize, group_from_points, impacts_m
from tracker.types import FloatArray, InputError, Message, frozen_array, message


@dataclass(frozen=True, kw_only=True)
class TSquared:
    """Hotelling's two-sample test.

    Attributes
    ----------
    t2, f, dof1, dof2, p
        The statistic, its F form with degrees of freedom, and the probability of one as large by
        chance.
    """

    t2: float
    f: float
    dof1: float
    dof2: float
    p: float


def hotelling(difference: FloatArray, pooled: FloatArray, n1: int, n2: int) -> TSquared:
    """Hotelling's two-sample T² with a pooled covariance.

    Parameters
    ----------
    difference
        (p,) difference of the means.
    pooled
        (p, p) pooled covariance of one observation.
    n1, n2
        Sample sizes; ``n1 + n2 - 2 >= p`` .

    Returns
    -------
    TSquared
        Exact for normal samples of equal covariance.

    References
    ----------
    .. [1] Johnson & Wichern, Applied Multivariate Statistical Analysis, result 6.2: T² is
       distributed as (n1+n2-2)p/(n1+n2-p-1) F(p, n1+n2-p-1).
    """
    p = len(difference)
    t2 = float(difference @ np.linalg.solve(pooled, difference)) * n1 * n2 / (n1 + n2)
    dof2 = n1 + n2 - p - 1
    f = t2 * dof2 / ((n1 + n2 - 2) * p)
    return TSquared(t2=t2, f=f, dof1=p, dof2=dof2, p=f_beyond(f, p, dof2))


Axis = Literal["across", "up_down"]

TELL_SPREAD = 4
"""Bare shafts from which it is told whether they scatter like the fletched arrows; chosen here."""

ALONE = 1.5
"""Spread of bare shafts over that of fletched arrows where a single one shows none; chosen here:
without vanes the same errors at the release carry further."""

READ_M = 0.003
"""Error of an impact's place: read to a whole centimetre; chosen here. Points that happen to lie on
a line have no spread across it otherwise."""


@dataclass(frozen=True, kw_only=True, eq=False)
class BareShaftOffset:
    """How far bare shafts land from fletched arrows.

    Attributes
    ----------
    distance_m
        Where it was shot.
    n_bare, n_fletched
        How many.
    offset_m
        (2,) right and up, bare minus fletched.
    sigma_m
        (2,) standard errors.
    interval_m
        (2, 2) rows across and up-down: low, high at `LEVEL`.
    dof
        Degrees of freedom of the two t-intervals.
    test
        Of both axes together.
    ellipse_m
        Half axes of the confidence region at `LEVEL`, larger first, and its turn: the angle of
        the larger one from "right" towards "up", radians. (long, short, angle).
    fletched
        The group the offset is judged against.
    notes
        Small samples, spreads that differ.
    """

    distance_m: float
    n_bare: int
    n_fletched: int
    offset_m: FloatArray
    sigma_m: FloatArray
    interval_m: FloatArray
    dof: tuple[float, float]
    test: TSquared
    ellipse_m: tuple[float, float, float]
    fletched: GroupSize
    notes: tuple[Message, ...] = field(default=())

    def chance_beyond(self, axis: Axis, limit_m: float) -> float:
        """How sure it is that the offset lies beyond a limit, 0 to 1 (one-sided t).

        Parameters
        ----------
        axis
            "across" or "up_down".
        limit_m
            Signed: beyond +0.08 means farther right (up), beyond -0.08 farther left (down).

        Returns
        -------
        float
            One minus the one-sided p-value.
        """
        k = 0 if axis == "across" else 1
        t = (float(self.offset_m[k]) - limit_m) / float(self.sigma_m[k])
        return t_below(t if limit_m >= 0 else -t, float(self.dof[k]))

    def interval_at(self, axis: Axis, level: float) -> tuple[float, float]:
        """Interval of the offset along one axis at another level, metres."""
        k = 0 if axis == "across" else 1
        half = float(self.sigma_m[k]) * t_limit(0.5 + level / 2, float(self.dof[k]))
        return float(self.offset_m[k]) - half, float(self.offset_m[k]) + half


def bare_shaft_offset(bare_m: object, fletched_m: object, *, distance_m: float) -> BareShaftOffset:
    """Offset of bare shafts from fletched arrows with its confidence region.

    Parameters
    ----------
    bare_m
        (n, 2) metres right and up, at least 1.
    fletched_m
        (m, 2) the same, at least 3.
    distance_m
        Shooting line to target.

    Returns
    -------
    BareShaftOffset
        Pooled (Hotelling's T²) where four bare shafts or more scatter like the fletched arrows; by
        Welch's approximation along each axis, and a region scaled alike, where they do not, or are
        too few to tell: bare shafts usually scatter wider. A single one is given the fletched
        arrows' spread, `ALONE` times as wide.

    Raises
    ------
    InputError
        For too few arrows, impacts that cannot be, or fletched arrows all in one place.

    References
    ----------
    .. [1] Johnson & Wichern, Applied Multivariate Statistical Analysis, section 6.3.
    .. [2] Welch, Biometrika 34 (1947) 28-35.
    """
    bare, fletched = impacts_m(bare_m, "bare shafts"), impacts_m(fletched_m, "fletched arrows")
    nb, nf = len(bare), len(fletched)
    if nb < 1 or nf < 3:
        raise InputError("tuning.bare_arrows", bare=nb, fletched=nf)
    group = group_from_points(fletched, distance_m=distance_m)
    offset = bare.mean(axis=0) - fletched.mean(axis=0)
    scatter_b, scatter_f = _scatter(bare), _scatter(fletched)
    notes = [message("tuning.bare_few", bare=nb, fletched=nf)] if nb < 3 or nf < 5 else []

    of_f = scatter_f / (nf - 1)
    if nb >= TELL_SPREAD and _variance_ratio_p(scatter_b, nb, scatter_f, nf) >= 0.05:
        dof_both = float(nb + nf - 2)
        dofs = np.array([dof_both, dof_both])
        mean_covariance = (scatter_b + scatter_f) / dof_both * (1 / nb + 1 / nf)
    elif nb == 1:
        dof_both = nf - 1.0
        dofs = np.array([dof_both, dof_both])
        mean_covariance = of_f * (ALONE**2 + 1 / nf)
    else:
        if nb >= TELL_SPREAD:
            notes.append(message("tuning.bare_spread_differs"))
        parts = np.stack([scatter_b / (nb - 1) / nb, of_f / nf])
        mean_covariance = parts.sum(axis=0)
        variances = np.maximum(np.diagonal(parts, axis1=1, axis2=2), 1e-12)
        dofs = variances.sum(axis=0) ** 2 / (
            variances[0] ** 2 / (nb - 1) + variances[1] ** 2 / (nf - 1)
        )
        dof_both = float(dofs.min())
    mean_covariance = _no_narrower(mean_covariance, READ_M**2 * (1 / nb + 1 / nf))
    sigma = np.sqrt(np.diag(mean_covariance))

    half = sigma * t_limit(0.5 + LEVEL / 2, dofs)
    n_equivalent = round(dof_both) + 2  # T² of the same degrees of freedom
    dof2 = max(n_equivalent - 3, 1)
    t2 = float(offset @ np.linalg.solve(mean_covariance, offset))
    f = t2 * dof2 / ((n_equivalent - 2) * 2)
    test = TSquared(t2=t2, f=f, dof1=2, dof2=dof2, p=f_beyond(f, 2, dof2))
    reach = math.sqrt(f_limit(LEVEL, 2, dof2) * 2 * (n_equivalent - 2) / dof2)
    return BareShaftOffset(
        distance_m=float(distance_m),
        n_bare=nb,
        n_fletched=nf,
        offset_m=frozen_array(offset, (2,), "offset_m"),
        sigma_m=frozen_array(sigma, (2,), "sigma_m"),
        interval_m=frozen_array(
            np.stack([offset - half, offset + half], axis=1), (2, 2), "interval_m"
        ),
        dof=(float(dofs[0]), float(dofs[1])),
        test=test,
        ellipse_m=_ellipse(mean_covariance, reach),
        fletched=group,
        notes=tuple(notes),
    )


def _scatter(points: FloatArray) -> FloatArray:
    centred = points - points.mean(axis=0)
    return np.asarray(centred.T @ centred)


def _variance_ratio_p(scatter_b: FloatArray, nb: int, scatter_f: FloatArray, nf: int) -> float:
    """Two-sided F test of the total variances."""
    dof_b, dof_f = 2 * (nb - 1), 2 * (nf - 1)
    f = (np.trace(scatter_b) / dof_b) / (np.trace(scatter_f) / dof_f)
    tail = f_beyond(f, dof_b, dof_f)
    return 2 * min(tail, 1 - tail)


def _no_narrower(covariance: FloatArray, variance: float) -> FloatArray:
    """Widen a covariance to at least this variance along every direction."""
    values, vectors = np.linalg.eigh(covariance)
    if values.min() >= variance:
        return covariance
    return np.asarray(vectors * np.maximum(values, variance) @ vectors.T)


def _ellipse(covariance: FloatArray, reach: float) -> tuple[float, float, float]:
    values, vectors = np.linalg.eigh(covariance)
    long = vectors[:, 1] * (1.0 if vectors[0, 1] >= 0 else -1.0)
    return (
        reach * math.sqrt(float(values[1])),
        reach * math.sqrt(float(values[0])),
        math.atan2(float(long[1]), float(long[0])),
    )
