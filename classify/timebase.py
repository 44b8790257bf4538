"""Whether the clock of a clip can be right: speed, fall and flight time asked for a witness.

A fitted flight, its scale and what the coach knows go in, a `TimeBase` comes out: right, or wrong
with the usual capture rate that would explain everything. It changes no rate itself.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np

from classify.clues import Clue, find_clues
from classify.scale import weigh
from classify.spectral import fit_swing
from classify.types import Estimate, Known, Priors, Scale, Spectrum
from tracker.types import Clip, Message, Track, message

USUAL_HZ: dict[Fraction, float] = {
    Fraction(hz): weight
    for hz, weight in (
        (24, 0.2), (25, 0.2), (30, 1.0), (50, 0.2), (60, 1.0), (100, 0.2), (120, 1.0),
        (200, 0.1), (240, 1.0), (480, 0.5), (960, 0.5),
    )
}  # fmt: skip
"""Rates at which phones take frames, and how often next to each other (common practice)."""

SLOWEST_M_S, FASTEST_M_S = 25.0, 110.0
"""No bow shoots an arrow outside of this (common practice)."""

DOUBT = 0.1
"""A claimed rate less probable than this is said to be wrong; chosen here."""

SURE = 0.6
"""A rate more probable than this is suggested; chosen here."""

TRUST = 0.8
"""Probability beforehand that a capture rate somebody vouches for is right; chosen here."""

MODEL_ERROR = 0.08
"""A wrong clock also misleads the fit; no clue that rests on it is taken to be better than this."""


@dataclass(frozen=True, kw_only=True)
class TimeBase:
    """The verdict on a clock.

    Attributes
    ----------
    ok
        Whether the capture rate stands.
    messages
        For the person.
    suggested_hz
        The capture rate that would explain speed, fall and flight time; None if none would, or
        the claimed one stands.
    """

    ok: bool
    messages: tuple[Message, ...]
    suggested_hz: Fraction | None


def check_time_base(
    spectrum: Spectrum,
    scale: Scale | None,
    known: Known,
    clip: Clip,
    track: Track,
    *,
    face_px: Estimate | None = None,
) -> TimeBase:
    """Confirm the capture rate by physics, or say which rate would fit.

    Parameters
    ----------
    spectrum
        The fitted flight; where the capture rate is unknown its times are the container's.
    scale
        Of that flight, None if it has none.
    known
        What the coach knows.
    clip
        For the rates.
    track
        For release and impact.
    face_px
        Apparent diameter of the target face, if it was found in the picture.

    Returns
    -------
    TimeBase
        Not ok while the capture rate is unknown, even if one can be suggested.
    """
    claimed = clip.capture_hz or clip.container_hz
    if claimed is None:
        return TimeBase(ok=False, messages=(message("motion.no_rate"),), suggested_hz=None)
    vouched = clip.capture_hz is not None

    def ask(fit: Spectrum) -> tuple[tuple[Clue, ...], dict[Fraction, float]]:
        clues = find_clues(fit, known=known, clip=clip, track=track, face_px=face_px)
        clues = tuple(
            replace(c, sigma=float(np.hypot(c.sigma, MODEL_ERROR))) if c.powers[2] else c
            for c in clues
        )
        return clues, _odds(clues, claimed, vouched=vouched)

    clues, odds = ask(spectrum)
    if odds[claimed] < 0.5:
        # Priors made with a wrong clock mislead the fit: ask the track again without them.
        plain = fit_swing(track, Priors())
        if isinstance(plain, Spectrum):
            clues, odds = ask(plain)
    best = max(odds, key=lambda rate: odds[rate])
    sure = odds[best] > SURE
    if not vouched:
        told = _suggestion(clues, claimed, best) if sure else message("motion.rate_open")
        return TimeBase(ok=False, messages=(told,), suggested_hz=best if sure else None)
    speed = _speed_m_s(clues, claimed, claimed)
    if odds[claimed] < DOUBT:
        told = message("motion.rate_doubtful", claimed_hz=_hz(claimed), speed_m_s=round(speed))
        if sure:
            measured = _measured(clues)
            surely = (
                not SLOWEST_M_S <= speed <= FASTEST_M_S
                or _odds(measured, claimed, vouched=True)[claimed] < DOUBT
            )
            told = message(
                "motion.rate_wrong" if surely else "motion.rate_unusual",
                claimed_hz=_hz(claimed),
                speed_m_s=round(speed),
                suggested_hz=_hz(best),
                better_m_s=round(_speed_m_s(clues, claimed, best)),
            )
        return TimeBase(ok=False, messages=(told,), suggested_hz=best if sure else None)
    if scale is not None and not SLOWEST_M_S <= speed <= FASTEST_M_S and len(clues) > 2:
        told = message("motion.speed_impossible", speed_m_s=round(speed), rate_hz=_hz(claimed))
        return TimeBase(ok=False, messages=(told,), suggested_hz=None)
    return TimeBase(ok=True, messages=(), suggested_hz=None)


def _suggestion(clues: tuple[Clue, ...], claimed: Fraction, best: Fraction) -> Message:
    speed = round(_speed_m_s(clues, claimed, best))
    return message("motion.rate_suggested", suggested_hz=_hz(best), speed_m_s=speed)


def _odds(clues: tuple[Clue, ...], claimed: Fraction, *, vouched: bool) -> dict[Fraction, float]:
    """Probability of every rate, the claimed one trusted beforehand if somebody vouches for it.

    Rates within 30 % of the claimed one are left out: physics does not tell them apart.
    """
    far = {hz: w for hz, w in USUAL_HZ.items() if abs(np.log(float(hz / claimed))) > np.log(1.3)}
    total = sum(far.values())
    before = {hz: (1 - TRUST) * w / total if vouched else w for hz, w in far.items()}
    before[claimed] = TRUST if vouched else 0.5
    misfit = {hz: weigh(clues, float(np.log(float(hz / claimed)))).misfit for hz in before}
    least = min(misfit.values())
    weight = {hz: before[hz] * float(np.exp(-(misfit[hz] - least) / 2)) for hz in before}
    whole = sum(weight.values())
    return {hz: w / whole for hz, w in weight.items()}


def _measured(clues: tuple[Clue, ...]) -> tuple[Clue, ...]:
    """Leave what was seen or said, without what most archers shoot."""
    return tuple(c for c in clues if c.source != "usual speed")


def _speed_m_s(clues: tuple[Clue, ...], claimed: Fraction, rate: Fraction) -> float:
    """Arrow speed that the clues, all but the usual one, imply at a capture rate."""
    loose = Clue(source="usual speed", powers=(0, 1, 0), value=float(np.log(55.0)), sigma=2.0)
    weighed = weigh((*_measured(clues), loose), float(np.log(float(rate / claimed))))
    return float(np.exp(weighed.value[1]))


def _hz(rate: Fraction) -> float:
    return round(float(rate), 2)
