"""Where arrows landed: impacts, diameters or scores go in; group sizes with intervals come out.

Knows nothing of causes, and nothing of hands: right and up are as the archer sees the target.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy import special

from classify.chances import chi2_exceeded
from tracker.types import FloatArray, InputError, frozen_array

LEVEL = 0.95
"""Of every interval and region here, unless told otherwise."""

Entered = Literal["points", "diameter", "score"]

MOST_OFF_M = 2.0
"""Impacts farther than this from the mark are taken for a slip of the keyboard; chosen here."""

EXTREME_SPREAD: dict[int, tuple[float, float]] = {
    2: (1.496, 0.642), 3: (2.234, 0.407), 4: (2.658, 0.325), 5: (2.953, 0.281),
    6: (3.175, 0.253), 7: (3.353, 0.232), 8: (3.501, 0.218), 9: (3.631, 0.207),
    10: (3.742, 0.197), 12: (3.925, 0.182),
}  # fmt: skip
"""By number of arrows: the widest distance in a round normal group over its spread along one axis:
exp(mean of the logarithm) and standard deviation of the logarithm. Simulated; a test repeats it."""


def impacts_m(points: object, name: str) -> FloatArray:
    """Check impact points once, for every function here.

    Parameters
    ----------
    points
        (n, 2) metres, right and up of the mark.
    name
        What the message calls them.

    Returns
    -------
    numpy.ndarray
        (n, 2) read-only.

    Raises
    ------
    InputError
        If they are no pairs of numbers, or one lies farther off than any target is wide.
    """
    try:
        array = frozen_array(np.asarray(points, dtype=np.float64), (None, 2), name)
    except (TypeError, ValueError):
        raise InputError("tuning.impacts_shape", what=name) from None
    if not np.isfinite(array).all():
        raise InputError("tuning.impacts_missing", what=name)
    if len(array) and float(np.abs(array).max()) > MOST_OFF_M:
        raise InputError(
            "tuning.impacts_far", what=name, found_m=float(np.abs(array).max()), most_m=MOST_OFF_M
        )
    return array


def needed_distance(distance_m: float) -> float:
    """Pass a shooting distance on, or refuse one that cannot be.

    Parameters
    ----------
    distance_m
        Shooting line to target, metres.

    Returns
    -------
    float
        The same.

    Raises
    ------
    InputError
        If it is not between 1 and 120 m.
    """
    if not 1.0 <= distance_m <= 120.0:
        raise InputError("tuning.distance", found_m=distance_m)
    return float(distance_m)


@dataclass(frozen=True, kw_only=True)
class GroupSize:
    """How wide a group is, as the standard deviation along one axis of a round group.

    Attributes
    ----------
    distance_m
        Where it was shot.
    arrows
        How many.
    sigma_m
        Standard deviation along one axis, metres.
    dof
        Degrees of freedom behind it: ``sigma_m**2 * dof / truth**2`` is chi-square distributed
        (exactly for points, by matching the spread of the logarithm for diameters and scores).
    low_m, high_m
        Interval at `LEVEL`.
    mean_radius_m
        What sigma means in the trade's terms: mean distance from the middle, sigma·sqrt(pi/2).
    from_
        What was entered.
    """

    distance_m: float
    arrows: int
    sigma_m: float
    dof: float
    low_m: float
    high_m: float
    mean_radius_m: float
    from_: Entered

    @property
    def sigma_mrad(self) -> float:
        """The same as an angle, in thousandths of the distance."""
        return 1000.0 * self.sigma_m / self.distance_m


def _group(distance_m: float, arrows: int, sigma_m: float, dof: float, from_: Entered) -> GroupSize:
    low, high = (chi2_exceeded(0.5 - side * LEVEL / 2, dof) for side in (-1, 1))
    return GroupSize(
        distance_m=needed_distance(distance_m),
        arrows=arrows,
        sigma_m=sigma_m,
        dof=dof,
        low_m=sigma_m * math.sqrt(dof / high),
        high_m=sigma_m * math.sqrt(dof / low),
        mean_radius_m=sigma_m * math.sqrt(math.pi / 2),
        from_=from_,
    )


def group_from_points(points_m: object, *, distance_m: float) -> GroupSize:
    """Size of a group from where each arrow landed.

    Parameters
    ----------
    points_m
        (n, 2) metres right and up, at least 2.
    distance_m
        Shooting line to target.

    Returns
    -------
    GroupSize
        With ``2 (n - 1)`` degrees of freedom.

    Raises
    ------
    InputError
        For fewer than 2 arrows, or impacts that cannot be.

    Notes
    -----
    The sum of squared distances from the middle of a round normal group, over sigma squared, is
    chi-square with 2(n-1) degrees of freedom.

    Examples
    --------
    >>> group = group_from_points([[0.03, 0], [-0.03, 0], [0, 0.03], [0, -0.03]], distance_m=18)
    >>> round(group.sigma_m, 5), group.dof
    (0.02449, 6.0)
    """
    points = impacts_m(points_m, "group")
    n = len(points)
    if n < 2:
        raise InputError("tuning.group_arrows", found=n, needed=2)
    dof = 2.0 * (n - 1)
    squares = float(((points - points.mean(axis=0)) ** 2).sum())
    if squares == 0:
        raise InputError("tuning.group_no_spread", found=n)
    return _group(distance_m, n, math.sqrt(squares / dof), dof, "points")


def groups_together(groups: Sequence[GroupSize]) -> GroupSize:
    """Size of several groups of one set-up, each about its own middle.

    Parameters
    ----------
    groups
        At least 1; taken for one angle, and scaled to the last one's distance.

    Returns
    -------
    GroupSize
        The pooled variance: each group's counts with its degrees of freedom.

    Examples
    --------
    >>> near, far = (group_from_diameter(0.1 * k, arrows=6, distance_m=18 * k) for k in (1, 2))
    >>> both = groups_together([near, far])
    >>> round(both.sigma_m / far.sigma_m, 6), both.arrows, both.distance_m
    (1.0, 12, 36.0)
    """
    last = groups[-1]
    dof = sum(group.dof for group in groups)
    squares = sum(
        group.dof * (group.sigma_m * last.distance_m / group.distance_m) ** 2 for group in groups
    )
    arrows = sum(group.arrows for group in groups)
    return _group(last.distance_m, arrows, math.sqrt(squares / dof), dof, last.from_)


def group_from_diameter(diameter_m: float, *, arrows: int, distance_m: float) -> GroupSize:
    """Size of a group from the widest distance between two of its arrows.

    Parameters
    ----------
    diameter_m
        Middle to middle of the two arrows farthest apart, metres.
    arrows
        How many, 2 to 10 or 12.
    distance_m
        Shooting line to target.

    Returns
    -------
    GroupSize
        With fewer degrees of freedom than points would give: one distance tells less.

    Raises
    ------
    InputError
        For a diameter or number of arrows that cannot be used.
    """
    if arrows not in EXTREME_SPREAD:
        raise InputError("tuning.diameter_arrows", found=arrows)
    if not 0 < diameter_m <= 2 * MOST_OFF_M:
        raise InputError("tuning.diameter", found_m=diameter_m)
    ratio, log_sd = EXTREME_SPREAD[arrows]
    # the spread of ln(s) with k degrees of freedom is sqrt(trigamma(k/2))/2: find k that matches
    dof = _dof_of_log_sd(log_sd)
    # undo the bias of ln(s), so that ratio means "as if chi-square"
    bias = 0.5 * (special.digamma(dof / 2) - math.log(dof / 2))
    return _group(distance_m, arrows, diameter_m / ratio * math.exp(bias), dof, "diameter")


def _dof_of_log_sd(log_sd: float) -> float:
    """Degrees of freedom at which the logarithm of a standard deviation scatters by `log_sd`."""

    def gap(log_dof: float) -> float:
        dof = math.exp(log_dof)
        return 0.5 * math.sqrt(float(special.polygamma(1, dof / 2))) - log_sd

    return math.exp(_root(gap, math.log(0.2), math.log(1e5)))


def group_from_score(
    score: float, *, arrows: int, distance_m: float, face_diameter_m: float
) -> GroupSize:
    """Size of a group from its score on a ten-zone face, taken to sit on the middle.

    Parameters
    ----------
    score
        Sum over all arrows, 10 to 1 for each; a miss counts 0.
    arrows
        How many, at least 3.
    distance_m, face_diameter_m
        Shooting line to target; whole face, metres.

    Returns
    -------
    GroupSize
        Wider than points would give; a group beside the middle reads larger than it is.

    Raises
    ------
    InputError
        If the score is impossible or so high that it says nothing of the size.
    """
    if arrows < 3:
        raise InputError("tuning.group_arrows", found=arrows, needed=3)
    if not 0.1 <= face_diameter_m <= 2.0:
        raise InputError("tuning.face", found_m=face_diameter_m)
    if not 0.5 * arrows <= score < 9.99 * arrows:
        raise InputError("tuning.score", found=score, arrows=arrows, most=10 * arrows)
    rings_m = face_diameter_m / 20 * np.arange(1, 11)  # std: ten equal zones

    def moments(log_sigma: float) -> tuple[float, float]:
        inside = -np.expm1(-0.5 * (rings_m / math.exp(log_sigma)) ** 2)  # Rayleigh
        chance = np.diff(inside, prepend=0.0)
        points = np.arange(10, 0, -1)
        mean = float(chance @ points)
        return mean, float(chance @ points**2) - mean**2

    target = score / arrows
    log_sigma = _root(lambda s: moments(s)[0] - target, math.log(1e-4), math.log(20.0))
    step = 1e-4
    slope = (moments(log_sigma + step)[0] - moments(log_sigma - step)[0]) / (2 * step)
    log_sd = math.sqrt(moments(log_sigma)[1] / arrows) / abs(slope)
    return _group(distance_m, arrows, math.exp(log_sigma), _dof_of_log_sd(log_sd), "score")


def _root(gap: Callable[[float], float], low: float, high: float) -> float:
    """Find where a function of one number crosses zero between two limits."""
    from scipy.optimize import brentq  # noqa: PLC0415 - slow to load, seldom needed

    return float(brentq(gap, low, high))
