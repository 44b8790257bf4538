"""Before and after a change: two lots of swings go in; keep, undo or shoot more comes out."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from classify.chances import t_limit
from classify.several import Swing
from tracker.types import FloatArray, InputError, Message, Value

Verdict = Literal["keep", "undo", "shoot more", "no worse"]
Goal = Literal["fall", "no rise"]
"""What a change asks of the swing: that it falls, or only that it does not grow."""

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
        Whether the interval leaves out nought; never for one flight of each.
    verdict
        Keep it, undo it, shoot more, or "no worse": the swing did not grow, and that is all it can
        tell of this change.
    worse
        Whether it grew by as much as a change is worth.
    more
        How many more flights of each set-up, for "shoot more"; else 0.
    sentence
        In plain words.
    aside, beside
        The same of an axis that the change was not made for, and of a change that other tests
        judge: what was found, and no order.
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
    worse: bool
    more: int
    sentence: Message
    aside: Message
    beside: Message


def compare(
    before: Sequence[Swing], after: Sequence[Swing], *, worth: float, goal: Goal = "fall"
) -> Comparison:
    """Compare the swing of one set-up with that of the next.

    Parameters
    ----------
    before, after
        One swing for each flight, along the same axis and in the same unit.
    worth
        The smallest change worth keeping, in that unit.
    goal
        What is asked of the swing.

    Returns
    -------
    Comparison
        Keep: the fall is real. Undo: the swing rose for sure, or for sure did not fall by as much
        as is worth having. Shoot more: the arrows do not tell yet. Where no fall was asked for, or
        there was less to begin with than is worth having, undo only if it rose for sure and by as
        much as that; "no worse" if it surely did not.

    Raises
    ------
    InputError
        If either lot is empty or `worth` is not above 0.

    Notes
    -----
    Welch's interval; the error of a mean is never taken smaller than the errors of measurement
    allow. The scale's error, which flights filmed from one place share, is not averaged down: it is
    added to that of each mean, as if a lot had been filmed from one place and the other from
    another. A lot of a single flight, which cannot show its spread from shot to shot, borrows that
    of the other lot, with that lot's degrees of freedom. One flight of each tells nothing but
    itself: two shots of one archer often differ by what is worth having, which is taken for the
    spread.

    References
    ----------
    .. [1] Welch, Biometrika 34 (1947) 28-35.
    .. [2] Satterthwaite, Biometrics Bulletin 2 (1946) 110-114, with one part that is known.

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
    shared = math.hypot(_shared(before), _shared(after))
    one_each = len(b[0]) == len(a[0]) == 1
    unseen = worth if one_each else 0.0
    sigma, dof = _error_of_change(b, a, unseen)
    if shared > 0:
        # known without any flight's help, so that the degrees of freedom grow with its part [2]
        dof *= (1.0 + (shared / sigma) ** 2) ** 2
        sigma = math.hypot(sigma, shared)
    change = float(a[0].mean() - b[0].mean())
    half = t_limit(0.5 + LEVEL / 2, dof) * sigma
    low, high = change - half, change + half
    real = (low > 0 or high < 0) and not one_each
    mean_b, mean_a = float(b[0].mean()), float(a[0].mean())
    small = goal == "fall" and mean_b < worth
    worse = real and low > 0 and change >= worth
    verdict: Verdict = "shoot more"
    if real and high < 0:
        verdict = "keep"
    elif worse or (low > -worth and goal == "fall" and not small and not one_each):
        verdict = "undo"
    elif high < worth and (goal == "no rise" or small) and not one_each:
        verdict = "no worse"
    more = 0
    if verdict == "shoot more":
        more = _how_many(b, a, max(abs(change), worth), (unseen, shared))
    unclear = "one_each" if one_each else "unclear"
    name = {
        "keep": "fell",
        "undo": "rose" if real else "same",
        "shoot more": unclear,
        "no worse": "small" if small else "no_worse",
    }[verdict]
    aside = "same" if verdict == "no worse" else name
    numbers: dict[str, Value] = {
        "before_mm": mean_b,
        "after_mm": mean_a,
        "before_flights": len(before),
        "after_flights": len(after),
        "least_mm": min(abs(low), abs(high)),
        "most_mm": max(abs(low), abs(high)),
        "fall_mm": -low,
        "rise_mm": high,
        "more": more,
    }
    return Comparison(
        before=mean_b,
        after=mean_a,
        change=change,
        sigma=sigma,
        dof=dof,
        low=low,
        high=high,
        real=real,
        verdict=verdict,
        worse=worse,
        more=more,
        sentence=Message(f"tuning.swing_{name}", numbers),
        aside=Message(f"tuning.aside_{aside}", numbers),
        beside=Message(f"tuning.beside_{'clear' if high < worth else 'unclear'}", numbers),
    )


_Lot = tuple[FloatArray, FloatArray]


def _values(swings: Sequence[Swing]) -> _Lot:
    sigmas = np.array([swing.sigma for swing in swings])
    values = np.array([swing.value for swing in swings])
    if not (np.isfinite(values).all() and np.isfinite(sigmas).all() and (sigmas > 0).all()):
        raise InputError("tuning.swing_sigma")
    return values, sigmas


def _shared(swings: Sequence[Swing]) -> float:
    """Give the error of a lot's mean that comes from the scale."""
    return float(np.mean([swing.scale_share * swing.value for swing in swings]))


def _error_of_change(b: _Lot, a: _Lot, unseen: float) -> tuple[float, float]:
    """Give the standard error of the difference of two means, and its degrees of freedom.

    `unseen` is the spread that is taken where neither lot shows one, else nought.
    """
    n_b, n_a = len(b[0]), len(a[0])
    if unseen:
        measured = math.sqrt(_variance(b) + _variance(a))
        return math.hypot(measured, math.sqrt(2) * unseen), math.inf
    if n_b > 1 and n_a > 1:
        of_b, of_a = _variance(b) / n_b, _variance(a) / n_a
        dof = (of_b + of_a) ** 2 / (of_b**2 / (n_b - 1) + of_a**2 / (n_a - 1))  # [1]
        return math.sqrt(of_b + of_a), dof
    lot, single = (b, a) if n_a == 1 else (a, b)
    n = len(lot[0])
    alone = max(_variance(single), float(lot[0].var(ddof=1)))
    return math.sqrt(_variance(lot) / n + alone), n - 1.0


def _variance(lot: _Lot) -> float:
    """Variance of a lot's swings; no smaller than the errors of measurement make it."""
    values, sigmas = lot
    return max(float(values.var(ddof=1)) if len(values) > 1 else 0.0, float((sigmas**2).mean()))


def _how_many(before: _Lot, after: _Lot, difference: float, beside: tuple[float, float]) -> int:
    """More flights of each set-up until the interval is as narrow as the difference.

    `beside` is the spread that neither lot shows, and the error that no more flights narrow.
    """
    unseen, shared = beside
    have = min(len(before[0]), len(after[0]))
    usual = math.hypot(math.sqrt(0.5 * (_variance(before) + _variance(after))), unseen)
    for n in range(have + 1, have + MOST_MORE):
        sigma = math.hypot(usual * math.sqrt(2 / n), shared)
        if t_limit(0.5 + LEVEL / 2, 2 * n - 2) * sigma <= difference:
            return n - have
    return MOST_MORE
