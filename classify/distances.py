"""Groups at several distances: sizes go in; whether they grow in proportion to distance comes out.

Knows nothing of why; only of angles and chance.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from classify.chances import f_beyond, f_limit
from classify.impacts import LEVEL, GroupSize
from tracker.types import InputError, Message, message

Growth = Literal["faster than distance", "short no better", "in proportion", "undecided"]

SIGNIFICANT = 0.025
"""One-sided chance below which a pattern counts, 0.05 for both patterns; chosen here."""

PROPORTIONAL_WITHIN = 1.6
"""In proportion counts as shown when the ratio's interval stays within this factor; chosen here."""


@dataclass(frozen=True, kw_only=True)
class GrowthTest:
    """How group size grows with distance.

    Attributes
    ----------
    growth
        The pattern.
    long_ratio, long_interval, long_p
        Angular size at the longest distance over that of all shorter ones, its interval, and the
        chance of one as large if groups grew in proportion.
    short_ratio, short_interval, short_p
        The same for the shortest distance over all longer ones.
    notes
        Small samples.
    """

    growth: Growth
    long_ratio: float
    long_interval: tuple[float, float]
    long_p: float
    short_ratio: float
    short_interval: tuple[float, float]
    short_p: float
    notes: tuple[Message, ...] = ()


def growth_with_distance(groups: Sequence[GroupSize]) -> GrowthTest:
    """Test whether groups grow faster than distance, or are no better when short.

    Parameters
    ----------
    groups
        At two or more distances; several at one distance are pooled.

    Returns
    -------
    GrowthTest
        From F tests of the squared angular sizes: longest against all shorter, shortest against
        all longer. With two distances the two tests are the two tails of one.

    Raises
    ------
    InputError
        If there are fewer than two distances.

    Notes
    -----
    In proportion means the same angle at every distance; then the ratio of two squared angular
    sizes follows F with their degrees of freedom.
    """
    pooled = _by_distance(groups)
    if len(pooled) < 2:
        raise InputError("tuning.distances", found=len(pooled))
    long_ratio, long_interval, long_p = _against(pooled[-1], _pool(pooled[:-1]))
    short_ratio, short_interval, short_p = _against(pooled[0], _pool(pooled[1:]))
    growth: Growth = "undecided"
    if long_p < SIGNIFICANT and long_p <= short_p:
        growth = "faster than distance"
    elif short_p < SIGNIFICANT:
        growth = "short no better"
    elif all(
        low >= 1 / PROPORTIONAL_WITHIN and high <= PROPORTIONAL_WITHIN
        for low, high in (long_interval, short_interval)
    ):
        growth = "in proportion"
    fewest = min(group.arrows for group in groups)
    notes = (message("tuning.groups_few", fewest=fewest),) if fewest < 12 else ()
    return GrowthTest(
        growth=growth,
        long_ratio=long_ratio,
        long_interval=long_interval,
        long_p=long_p,
        short_ratio=short_ratio,
        short_interval=short_interval,
        short_p=short_p,
        notes=notes,
    )


_Angular = tuple[float, float]
"""Squared size in mrad², and its degrees of freedom."""


def _by_distance(groups: Sequence[GroupSize]) -> list[_Angular]:
    """Pool the groups of each distance, shortest first."""
    distances = sorted({round(group.distance_m, 2) for group in groups})
    return [
        _pool(
            [
                (group.sigma_mrad**2, group.dof)
                for group in groups
                if round(group.distance_m, 2) == distance
            ]
        )
        for distance in distances
    ]


def _pool(parts: Sequence[_Angular]) -> _Angular:
    dof = sum(part[1] for part in parts)
    return sum(part[0] * part[1] for part in parts) / dof, dof


def _against(one: _Angular, rest: _Angular) -> tuple[float, tuple[float, float], float]:
    """Ratio of sizes, its interval, and the chance of one as large."""
    f = one[0] / rest[0]
    low, high = (f_limit(0.5 + side * LEVEL / 2, one[1], rest[1]) for side in (-1, 1))
    interval = ((f / high) ** 0.5, (f / low) ** 0.5)
    return f**0.5, interval, f_beyond(f, one[1], rest[1])
