"""Before and after a change: two lots of swings go in; keep, undo or shoot more comes out."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from classify.chances import t_limit
from classify.several import Swing
from tracker.types import FloatArray, InputError, Message, message

Verdict = Literal["keep", "undo", "shoot more"]

LEVEL = 0.95
MOST_MORE = 12
"""More arrows than this are not asked for at once; chosen here."""


@dataclass(frozen=True, kw_only=True)
class Comparison:
    """What a change did to the swing.

    Attributes
    ----------
    before, after
        Mean swings, in the unit they came in (millimetres for the sentences).
    change, sigma, dof
        After minus before, its standard error and degrees of freedom.
    low, high
        Interval of the change at `LEVEL`.
    real
        Whether the interval leaves out nought.
    verdict
        Keep it, undo it, or shoot more.
    more
        How many more flights of each set-up, for "shoot more"; else 0.
    sentence
        In plain words.
    """

    before: float
    after: float
    change: float
    sigma: float
    dof: float
    low: float
    high: float
    real: bool
    verdict: Verdict
    more: int
    sentence: Message


def compare(before: Sequence[Swing], after: Sequence[Swing], *, worth: float) -> Comparison:
    """Compare the swing of one set-up with that of the next.

    Parameters
    ----------
    before, after
        One swing for each flight, along the same axis and in the same unit.
    worth
        The smallest change worth keeping, in that unit.

    Returns
    -------
    Comparison
        Keep: the fall is real. Undo: the swing rose for sure, or for sure did not fall by as much
        as is worth having. Shoot more: the arrows do not tell yet.

    Raises
    ------
    InputError
        If either lot is empty or `worth` is not above 0.

    Notes
    -----
    Welch's interval, with two floors: the error of a mean is never taken smaller than the errors
    of measurement allow; and a lot of a single flight, which cannot show its spread from shot to
    shot, borrows that of the other lot.

    References
    ----------
    .. [1] Welch, Biometrika 34 (1947) 28-35.

    Examples
    --------
    >>> lots = [[Swing(value=v, sigma=0.8) for v in lot] for lot in ([21, 20, 22], [9, 8, 10])]
    >>> compare(*lots, worth=2.0).verdict
    'keep'
    """
    if not before or not after:
        raise InputError("tuning.compare_empty", before=len(before), after=len(after))
    if not worth > 0:
        raise InputError("tuning.compare_worth", found=worth)
    b, a = _values(before), _values(after)
    variance_b, dof_b = _variance_of_mean(b, other=a)
    variance_a, dof_a = _variance_of_mean(a, other=b)
    sigma = math.sqrt(variance_b + variance_a)
    dof = (variance_b + variance_a) ** 2 / (variance_b**2 / dof_b + variance_a**2 / dof_a)  # [1]
    change = float(a[0].mean() - b[0].mean())
    half = t_limit(0.5 + LEVEL / 2, dof) * sigma
    low, high = change - half, change + half
    verdict: Verdict = "shoot more"
    if high < 0:
        verdict = "keep"
    elif low > 0 or low > -worth:
        verdict = "undo"
    more = _how_many(b, a, max(abs(change), worth)) if verdict == "shoot more" else 0
    name = {"keep": "fell", "undo": "rose" if low > 0 else "same", "shoot more": "unclear"}[verdict]
    mean_b, mean_a = float(b[0].mean()), float(a[0].mean())
    return Comparison(
        before=mean_b,
        after=mean_a,
        change=change,
        sigma=sigma,
        dof=dof,
        low=low,
        high=high,
        real=low > 0 or high < 0,
        verdict=verdict,
        more=more,
        sentence=message(
            f"tuning.swing_{name}",
            before_mm=mean_b,
            after_mm=mean_a,
            least_mm=min(abs(low), abs(high)),
            most_mm=max(abs(low), abs(high)),
            fall_mm=-low,
            rise_mm=high,
            more=more,
        ),
    )


_Lot = tuple[FloatArray, FloatArray]


def _values(swings: Sequence[Swing]) -> _Lot:
    sigmas = np.array([swing.sigma for swing in swings])
    values = np.array([swing.value for swing in swings])
    if not (np.isfinite(values).all() and np.isfinite(sigmas).all() and (sigmas > 0).all()):
        raise InputError("tuning.swing_sigma")
    return values, sigmas


def _variance_of_mean(lot: _Lot, *, other: _Lot) -> tuple[float, float]:
    """Variance of a lot's mean and its degrees of freedom."""
    values, sigmas = lot
    n = len(values)
    measured = float((sigmas**2).mean())
    if n >= 2:
        return max(float(values.var(ddof=1)), measured) / n, n - 1.0
    if len(other[0]) >= 2:
        borrowed = max(float(other[0].var(ddof=1)), measured)
        return borrowed, len(other[0]) - 1.0
    return measured, 1.0


def _how_many(before: _Lot, after: _Lot, difference: float) -> int:
    """More flights of each set-up until the interval is as narrow as the difference."""
    spread = math.sqrt(
        0.5
        * sum(
            max(float(v.var(ddof=1)) if len(v) > 1 else 0.0, float((s**2).mean()))
            for v, s in (before, after)
        )
    )
    have = min(len(before[0]), len(after[0]))
    for n in range(have + 1, have + MOST_MORE):
        if t_limit(0.5 + LEVEL / 2, 2 * n - 2) * spread * math.sqrt(2 / n) <= difference:
            return n - have
    return MOST_MORE
