"""Several flights of one set-up: their swings go in; the bow, one arrow or the archer comes out.

Knows nothing of labels; only of numbers with errors and which arrow flew.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from classify.chances import chi2_beyond, normal_below
from tracker.types import FloatArray, InputError, Message, message

Maker = Literal["bow", "one arrow", "archer", "too few"]

FEWEST = 3
"""Flights below which nothing is said of who makes the swing; chosen here."""

SIGNIFICANT = 0.01
"""Chance below which swings count as different; chosen here: the claimed errors of a swing are
themselves uncertain, so that the usual 0.05 would blame the archer too often."""

ALIKE_SHARE, ALIKE_SURE = 0.4, 0.95
"""Swings are alike where a spread from shot to shot of this share of their mean is ruled out with
this confidence; chosen here. Swings that only do not differ for sure may be too few, or too
uncertain, to differ."""

OUTLIER_SIGNIFICANT = 0.01
"""Chance, corrected for the number of arrows, below which one arrow counts as different."""

NEARLY_AS_ODD = math.log(10)
"""Difference of chi-square below which two arrows may as well be the odd one: it is twice the
logarithm of their likelihood ratio, and a ratio below the square root of ten is "not worth more
than a bare mention" (Jeffreys, Theory of Probability, 3rd ed., appendix B)."""


@dataclass(frozen=True, kw_only=True)
class Swing:
    """The swing of one flight along one axis.

    Attributes
    ----------
    value, sigma
        Zero to peak with its standard error, in one unit for all flights compared.
    arrow
        Number of the arrow, None if nobody wrote it down.
    scale_share
        Relative error of the scale, which is in `sigma` too: flights filmed from one place may all
        have it alike.
    """

    value: float
    sigma: float
    arrow: str | None = None
    scale_share: float = 0.0


@dataclass(frozen=True, kw_only=True)
class SeveralFlights:
    """What the flights say together.

    Attributes
    ----------
    maker
        Whose the swing is: "bow" (all alike), "one arrow", "archer" (all over the place, or one
        flight of arrows that nobody numbered), "too few" (or too uncertain) to tell.
    flights
        How many.
    mean, sigma
        Mean swing over the flights (without the odd arrow, if there is one) and its standard
        error, spread from shot to shot included.
    shot_sd
        Standard deviation from shot to shot beyond the errors of measurement.
    p_alike
        Chance of swings as different as these if all were alike.
    odd_arrow
        Which arrow, where one differs; of two alone the one that swings wider.
    notes
        How sure, and what to shoot to be surer.
    """

    maker: Maker
    flights: int
    mean: float
    sigma: float
    shot_sd: float
    p_alike: float
    odd_arrow: str | None
    notes: tuple[Message, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Spread:
    """Random-effects summary of values with errors.

    Attributes
    ----------
    mean, sigma
        Weighted mean and its standard error.
    shot_sd
        Spread beyond the errors (square root of DerSimonian and Laird's estimate).
    q, dof, p
        Cochran's Q, its degrees of freedom and chance.
    """

    mean: float
    sigma: float
    shot_sd: float
    q: float
    dof: int
    p: float


def spread_of(values: FloatArray, sigmas: FloatArray) -> Spread:
    """Mean of values with errors, and their spread beyond the errors.

    Parameters
    ----------
    values, sigmas
        (n,) with standard errors above 0.

    Returns
    -------
    Spread
        For one value: the value itself, nothing said of spread.

    References
    ----------
    .. [1] DerSimonian & Laird, Controlled Clinical Trials 7 (1986) 177-188, eq. 6-8.
    """
    w = 1.0 / sigmas**2
    fixed = float(w @ values / w.sum())
    q = float(w @ (values - fixed) ** 2)
    dof = len(values) - 1
    c = float(w.sum() - (w**2).sum() / w.sum())
    tau2 = max(0.0, (q - dof) / c) if dof else 0.0  # [1] eq. 8
    w = 1.0 / (sigmas**2 + tau2)
    return Spread(
        mean=float(w @ values / w.sum()),
        sigma=float(1.0 / math.sqrt(w.sum())),
        shot_sd=math.sqrt(tau2),
        q=q,
        dof=dof,
        p=chi2_beyond(q, dof) if dof else 1.0,
    )


def who_swings(swings: Sequence[Swing], *, natural: float = 0.0) -> SeveralFlights:
    """Tell whether a swing is the bow's, one arrow's or the archer's.

    Parameters
    ----------
    swings
        One for each flight of one set-up, along one axis.
    natural
        Spread from shot to shot that every archer has and that is nobody's fault, in the swings'
        unit; added to the errors when differences are judged.

    Returns
    -------
    SeveralFlights
        "too few" below `FEWEST` flights, and where they neither differ nor are shown to be alike
        (by the test of a spread as large as `ALIKE_SHARE` of their mean, [1]). Where each arrow
        flew only once, an odd arrow cannot be told from an odd shot for certain, and a note says
        so; of two arrows alone nobody can tell which is unlike the set, and a note says that;
        arrows without numbers cannot be told apart at all.

    Raises
    ------
    InputError
        If there is no flight, or a swing has no usable error.

    References
    ----------
    .. [1] Viechtbauer, Statistics in Medicine 26 (2007) 37-52, the Q-profile method.
    """
    if not swings:
        raise InputError("tuning.no_flights")
    values = np.array([swing.value for swing in swings])
    sigmas = np.array([swing.sigma for swing in swings])
    if not (np.isfinite(values).all() and np.isfinite(sigmas).all() and (sigmas > 0).all()):
        raise InputError("tuning.swing_sigma")
    whole = spread_of(values, sigmas)
    judged = np.hypot(sigmas, natural)
    p_alike = spread_of(values, judged).p
    n = len(swings)
    if n < FEWEST:
        note = message("tuning.flights_few", found=n, needed=FEWEST)
        return _verdict("too few", n, whole, None, (note,), p_alike)
    if p_alike >= SIGNIFICANT:
        spread = max(ALIKE_SHARE * whole.mean, 2 * natural)
        if spread_of(values, np.hypot(judged, spread)).p >= ALIKE_SURE:
            return _verdict("bow", n, whole, None, (), p_alike)
        note = message("tuning.flights_unsure", found=n)
        return _verdict("too few", n, whole, None, (note,), p_alike)
    arrows = [swing.arrow for swing in swings]
    odd = _odd_arrow(values, judged, arrows)
    if odd is None:
        notes = (message("tuning.arrows_unnumbered"),) if None in arrows else ()
        return _verdict("archer", n, whole, None, notes, p_alike)
    rest = np.array([arrow != odd for arrow in arrows])
    remaining = spread_of(values[rest], sigmas[rest])
    return _verdict("one arrow", n, remaining, odd, _of_the_odd(odd, arrows), p_alike)


def _verdict(
    maker: Maker, n: int, spread: Spread, odd: str | None, notes: tuple[Message, ...], p: float
) -> SeveralFlights:
    return SeveralFlights(
        maker=maker,
        flights=n,
        mean=spread.mean,
        sigma=spread.sigma,
        shot_sd=spread.shot_sd,
        p_alike=spread.p if p is None else p,
        odd_arrow=odd,
        notes=notes,
    )


def _of_the_odd(odd: str, arrows: Sequence[str | None]) -> tuple[Message, ...]:
    """Name the odd arrow, and what it takes to be surer of it."""
    told_by = rests_on(odd, arrows)
    two = (message("tuning.arrows_two", arrow=odd),) if len(told_by) > 1 else ()
    once = [name for name in told_by if arrows.count(name) == 1]
    return (
        message("tuning.arrow_odd", arrow=odd),
        *two,
        *(message("tuning.arrow_once", arrow=name) for name in once),
    )


def rests_on(odd: str, arrows: Sequence[str | None]) -> tuple[str, ...]:
    """Name the arrows whose flights must be sure for one to be called odd.

    Parameters
    ----------
    odd
        The one that is.
    arrows
        Which arrow each flight was of.

    Returns
    -------
    tuple
        The odd one alone, since the others vouch for each other; both, where only two flew.
    """
    flown = {arrow for arrow in arrows if arrow != odd}
    other = flown.pop() if len(flown) == 1 else None
    return (odd,) if other is None else tuple(sorted((odd, other)))


def _odd_arrow(values: FloatArray, sigmas: FloatArray, arrows: Sequence[str | None]) -> str | None:
    """Find the numbered arrow without which all flights are alike, and which stands out by itself.

    Its own flights must agree with each other too; else it is the archer's.
    """
    names = sorted({arrow for arrow in arrows if arrow is not None})
    # a single flight is no set; but of two arrows either may be odd, however seldom the other flew
    fewest = 1 if len(names) == 2 and None not in arrows else 2
    odd: list[tuple[float, float, str]] = []  # chi-square of what is left, swing, name
    for name in names:
        rest = np.array([arrow != name for arrow in arrows])
        if rest.sum() < fewest:
            continue
        others, own = spread_of(values[rest], sigmas[rest]), spread_of(values[~rest], sigmas[~rest])
        if others.p < SIGNIFICANT or own.p < SIGNIFICANT:
            continue
        z = (own.mean - others.mean) / math.hypot(own.sigma, others.sigma)
        p = 2 * normal_below(-abs(z)) * len(names)  # Bonferroni
        if p < OUTLIER_SIGNIFICANT:
            odd.append((others.q + own.q, own.mean, name))
    if not odd:
        return None
    # Among three or more the one that explains the flights best is unlike the set, wide or not: a
    # bow may make all but one swing. Where two explain them about as well the flights do not tell,
    # and with two arrows alone they never do, as it leaves the same two lots whichever is odd. Then
    # the wider one is named: the same bow gave the other a clean flight, and damage makes an arrow
    # swing far more often than it takes the bow's own swing away.
    best = min(odd)[0]
    return max((mean, name) for q, mean, name in odd if q - best < NEARLY_AS_ODD)[1]
