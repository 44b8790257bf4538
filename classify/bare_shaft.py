"""Bare shafts against fletched arrows: impacts go in; the offset and its region come out.

Knows nothing of causes, and nothing of hands: right and up are as the archer sees the target.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from classify.chances import f_beyond, f_limit, t_below, t_limit
from classify.evidence import BareShaftTest
from classify.impacts import LEVEL, GroupSize, group_from_points, groups_together, impacts_m
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

UNLIKE = 0.05
"""Chance below which tests of one set-up count as unlike, and their common error is widened; chosen
here, as usual."""

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
        How many, over all tests.
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
    return _judged([_measured(bare_m, fletched_m, distance_m)], distance_m)


def bare_shafts_together(tests: Sequence[BareShaftTest]) -> BareShaftOffset:
    """Offset of bare shafts from fletched arrows over several tests of one set-up.

    Parameters
    ----------
    tests
        At least 1, oldest first. Each is judged by its own fletched group, and counts as one angle:
        offsets and spreads are scaled to the last one's distance.

    Returns
    -------
    BareShaftOffset
        Mean of the tests' offsets, each weighted by the inverse of its variance where all shots
        scatter alike, ``1 / (1 / n_bare + 1 / n_fletched)`` [1]. Spreads are those within the
        groups, with one degree of freedom less for each group, as its middle is not known but
        measured. Which spreads are used is decided as for one test, by the degrees of freedom of
        all [3]; for a single test it is `bare_shaft_offset`.

    Raises
    ------
    InputError
        For no test, or any that `bare_shaft_offset` refuses.

    Notes
    -----
    Where the tests differ by more than chance along an axis (`UNLIKE`), its error is widened by
    Birge's ratio [2]: days differ, and shots of one day do not tell by how much. The degrees of
    freedom are left as they are, so that with two unlike tests the interval is still a narrow one.

    References
    ----------
    .. [1] Graybill & Deal, Biometrics 15 (1959) 543-550, with one common variance, for which the
       weights are known and the t-interval is exact.
    .. [2] Birge, Physical Review 40 (1932) 207-227.
    .. [3] Satterthwaite, Biometrics Bulletin 2 (1946) 110-114, for spreads that differ.
    """
    if not tests:
        raise InputError("tuning.bare_arrows", bare=0, fletched=0)
    to_m = tests[-1].distance_m
    return _judged([_measured(t.bare_m, t.fletched_m, t.distance_m) for t in tests], to_m)


@dataclass(frozen=True, kw_only=True, eq=False)
class _Measured:
    """One test: offset (2,), scatter (2, 2) of both kinds about their own middles, numbers."""

    offset: FloatArray
    scatter_b: FloatArray
    scatter_f: FloatArray
    nb: int
    nf: int
    group: GroupSize


def _measured(bare_m: object, fletched_m: object, distance_m: float) -> _Measured:
    bare, fletched = impacts_m(bare_m, "bare shafts"), impacts_m(fletched_m, "fletched arrows")
    nb, nf = len(bare), len(fletched)
    if nb < 1 or nf < 3:
        raise InputError("tuning.bare_arrows", bare=nb, fletched=nf)
    return _Measured(
        offset=bare.mean(axis=0) - fletched.mean(axis=0),
        scatter_b=_scatter(bare),
        scatter_f=_scatter(fletched),
        nb=nb,
        nf=nf,
        group=group_from_points(fletched, distance_m=distance_m),
    )


def _judged(tests: Sequence[_Measured], to_m: float) -> BareShaftOffset:
    """Turn tests into one offset at a distance, with its errors."""
    scale = np.array([to_m / test.group.distance_m for test in tests])
    offsets = np.array([test.offset for test in tests]) * scale[:, None]
    one_b = 1 / np.array([test.nb for test in tests])
    one_f = 1 / np.array([test.nf for test in tests])
    w = 1 / (one_b + one_f)
    w /= w.sum()
    offset = w @ offsets
    # variance of the offset, by that of one bare and of one fletched shot
    of_b, of_f = float(w**2 @ one_b), float(w**2 @ one_f)
    spreads = _spreads(
        sum(test.scatter_b * s**2 for test, s in zip(tests, scale, strict=True)),
        sum(test.scatter_f * s**2 for test, s in zip(tests, scale, strict=True)),
        (sum(test.nb - 1 for test in tests), sum(test.nf - 1 for test in tests)),
        (of_b, of_f),
    )
    covariance = _no_narrower(
        spreads.bare * of_b + spreads.fletched * of_f, READ_M**2 * (of_b + of_f)
    )
    each = np.outer(one_b, np.diag(spreads.bare)) + np.outer(one_f, np.diag(spreads.fletched))
    each = np.maximum(each, READ_M**2 * (one_b + one_f)[:, None])
    wider = np.sqrt(_birge(offsets, each, spreads.dofs))
    covariance = covariance * np.outer(wider, wider)
    sigma = np.sqrt(np.diag(covariance))

    half = sigma * t_limit(0.5 + LEVEL / 2, spreads.dofs)
    n_equivalent = round(spreads.dof_both) + 2  # T² of the same degrees of freedom
    dof2 = max(n_equivalent - 3, 1)
    t2 = float(offset @ np.linalg.solve(covariance, offset))
    f = t2 * dof2 / ((n_equivalent - 2) * 2)
    reach = math.sqrt(f_limit(LEVEL, 2, dof2) * 2 * (n_equivalent - 2) / dof2)
    nb, nf = sum(test.nb for test in tests), sum(test.nf for test in tests)
    few = (message("tuning.bare_few", bare=nb, fletched=nf),) if nb < 3 or nf < 5 else ()
    return BareShaftOffset(
        distance_m=float(to_m),
        n_bare=nb,
        n_fletched=nf,
        offset_m=frozen_array(offset, (2,), "offset_m"),
        sigma_m=frozen_array(sigma, (2,), "sigma_m"),
        interval_m=frozen_array(
            np.stack([offset - half, offset + half], axis=1), (2, 2), "interval_m"
        ),
        dof=(float(spreads.dofs[0]), float(spreads.dofs[1])),
        test=TSquared(t2=t2, f=f, dof1=2, dof2=dof2, p=f_beyond(f, 2, dof2)),
        ellipse_m=_ellipse(covariance, reach),
        fletched=groups_together([test.group for test in tests]),
        notes=(*few, *spreads.notes),
    )


@dataclass(frozen=True, kw_only=True, eq=False)
class _Spreads:
    """Covariances (2, 2) of one shot of each kind, and degrees of freedom of the offset."""

    bare: FloatArray
    fletched: FloatArray
    dofs: FloatArray
    dof_both: float
    notes: tuple[Message, ...] = ()


def _spreads(
    scatter_b: FloatArray,
    scatter_f: FloatArray,
    dof: tuple[int, int],
    parts: tuple[float, float],
) -> _Spreads:
    """Decide whether bare shafts are given the fletched arrows' spread, both one, or their own.

    `dof` is of the two scatters, `parts` how much of a shot's variance goes into the offset's.
    """
    dof_b, dof_f = dof
    can_tell = dof_b >= TELL_SPREAD - 1
    if can_tell and _variance_ratio_p(scatter_b, dof_b, scatter_f, dof_f) >= 0.05:
        both = (scatter_b + scatter_f) / (dof_b + dof_f)
        dof_both = float(dof_b + dof_f)
        return _Spreads(bare=both, fletched=both, dofs=np.full(2, dof_both), dof_both=dof_both)
    fletched = scatter_f / dof_f
    if not dof_b:
        dofs = np.full(2, float(dof_f))
        return _Spreads(
            bare=fletched * ALONE**2, fletched=fletched, dofs=dofs, dof_both=float(dof_f)
        )
    bare = scatter_b / dof_b
    v_b, v_f = (
        np.maximum(np.diag(one) * part, 1e-12)
        for one, part in zip((bare, fletched), parts, strict=True)
    )
    dofs = (v_b + v_f) ** 2 / (v_b**2 / dof_b + v_f**2 / dof_f)
    notes = (message("tuning.bare_spread_differs"),) if can_tell else ()
    return _Spreads(
        bare=bare, fletched=fletched, dofs=dofs, dof_both=float(dofs.min()), notes=notes
    )


def _birge(offsets: FloatArray, variances: FloatArray, dofs: FloatArray) -> FloatArray:
    """Ratio (2,) by which offsets (n, 2) differ more than their variances say; 1 if by chance."""
    more = len(offsets) - 1
    if not more:
        return np.ones(2)
    w = 1 / variances
    mean = (w * offsets).sum(axis=0) / w.sum(axis=0)
    ratio = (w * (offsets - mean) ** 2).sum(axis=0) / more
    by_chance = [f_beyond(float(r), more, float(d)) for r, d in zip(ratio, dofs, strict=True)]
    return np.where(np.array(by_chance) < UNLIKE, np.maximum(ratio, 1.0), 1.0)


def _scatter(points: FloatArray) -> FloatArray:
    centred = points - points.mean(axis=0)
    return np.asarray(centred.T @ centred)


def _variance_ratio_p(
    scatter_b: FloatArray, dof_b: int, scatter_f: FloatArray, dof_f: int
) -> float:
    """Two-sided F test of the total variances; degrees of freedom are those of one axis."""
    f = (np.trace(scatter_b) / dof_b) / (np.trace(scatter_f) / dof_f)
    tail = f_beyond(f, 2 * dof_b, 2 * dof_f)
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
