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
from classify.types import Estimate, Known, Scale, Spectrum
from tracker.types import Clip, Message, Track, message

USUAL_HZ = tuple(Fraction(hz) for hz in (24, 25, 30, 50, 60, 100, 120, 200, 240, 480, 960))
"""Rates at which phones take frames (common practice)."""

SLOWEST_M_S, FASTEST_M_S = 25.0, 110.0
"""No bow shoots an arrow outside of this (common practice)."""

SURE = 0.9
TRUST = 0.8
"""Probability beforehand that a capture rate somebody vouches for is right; chosen here."""

MODEL_ERROR = 0.10
"""A wrong clock also misleads the fit; no clue is taken to be better than this."""


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
    clues = find_clues(spectrum, known=known, clip=clip, track=track, face_px=face_px)
    clues = tuple(replace(c, sigma=float(np.hypot(c.sigma, MODEL_ERROR))) for c in clues)
    rates = _candidates(claimed)
    vouched = clip.capture_hz is not None
    odds = _odds(clues, claimed, rates, vouched=vouched)
    best = max(odds, key=lambda rate: odds[rate])
    speed = _speed_m_s(clues, claimed, claimed)
    if not vouched:
        if odds[best] < SURE:
            return TimeBase(ok=False, messages=(message("motion.rate_open"),), suggested_hz=None)
        told = message(
            "motion.rate_suggested",
            suggested_hz=_hz(best),
            speed_m_s=round(_speed_m_s(clues, claimed, best)),
        )
        return TimeBase(ok=False, messages=(told,), suggested_hz=best)
    if best != claimed and odds[best] > SURE:
        told = message(
            "motion.rate_wrong",
            claimed_hz=_hz(claimed),
            speed_m_s=round(speed),
            suggested_hz=_hz(best),
            better_m_s=round(_speed_m_s(clues, claimed, best)),
        )
        return TimeBase(ok=False, messages=(told,), suggested_hz=best)
    if scale is not None and not SLOWEST_M_S <= speed <= FASTEST_M_S:
        told = message("motion.speed_impossible", speed_m_s=round(speed), rate_hz=_hz(claimed))
        return TimeBase(ok=False, messages=(told,), suggested_hz=None)
    return TimeBase(ok=True, messages=(), suggested_hz=None)


def _candidates(claimed: Fraction) -> tuple[Fraction, ...]:
    """Give the usual rates and the claimed one, nothing nearer to it than a fifth."""
    far = [hz for hz in USUAL_HZ if abs(np.log(float(hz / claimed))) > np.log(1.2)]
    return (claimed, *far)


def _odds(
    clues: tuple[Clue, ...], claimed: Fraction, rates: tuple[Fraction, ...], *, vouched: bool
) -> dict[Fraction, float]:
    """Probability of every rate, the claimed one trusted beforehand if somebody vouches for it."""
    misfit = np.array([weigh(clues, float(np.log(float(r / claimed)))).misfit for r in rates])
    rest = (1 - TRUST) / max(len(rates) - 1, 1) if vouched else 1.0
    before = np.array([TRUST if vouched and rate == claimed else rest for rate in rates])
    weight = before * np.exp(-(misfit - misfit.min()) / 2)
    return dict(zip(rates, (weight / weight.sum()).tolist(), strict=True))


def _speed_m_s(clues: tuple[Clue, ...], claimed: Fraction, rate: Fraction) -> float:
    """Arrow speed that the clues, all but the usual one, imply at a capture rate."""
    measured = tuple(c for c in clues if c.source != "usual speed")
    loose = Clue(source="usual speed", powers=(0, 1, 0), value=float(np.log(55.0)), sigma=2.0)
    weighed = weigh((*measured, loose), float(np.log(float(rate / claimed))))
    return float(np.exp(weighed.value[1]))


def _hz(rate: Fraction) -> float:
    return round(float(rate), 2)
