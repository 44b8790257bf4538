"""Two flights next to each other: which swings wider, and whether the errors leave room for chance.

Two readings go in, messages come out. It compares flights, not set-ups: what a change to the bow
did takes several arrows, and is told by `classify.compare`.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot, isfinite
from typing import Literal

from classify.types import LIMIT_SIGMAS, SWINGING, Kind, ModeLine, Reading
from tracker.types import Message, message

Axis = Literal["across", "up_down"]

SURE = 1.96
"""Standard errors from which a difference is called one: 95 % of a normal error, std."""


@dataclass(frozen=True, kw_only=True)
class Difference:
    """How one kind of swing along one axis differs.

    Attributes
    ----------
    first_mm, second_mm
        Widest swing of that kind of each, zero to peak; 0 where none was found.
    change_mm, sigma_mm
        Second minus first, and its standard error; None where one shows no such swing and nobody
        knows how far one could hide in it.
    about
        Axis and kind, as the beginning of a line.
    sentence
        In plain words; its error is of 95 %, by which it was decided.
    """

    first_mm: float
    second_mm: float
    change_mm: float | None
    sigma_mm: float | None
    about: Message
    sentence: Message


@dataclass(frozen=True, kw_only=True)
class _Shown:
    """What one flight shows of one kind of swing: a size, or none with or without a limit."""

    swing_mm: float
    sigma_mm: float | None
    found: bool


def differences(first: Reading, second: Reading, axis: Axis) -> tuple[Difference, ...]:
    """Compare the slow with the slow and the fast with the fast swing of two flights.

    Parameters
    ----------
    first, second
        The flights.
    axis
        Across or up-down.

    Returns
    -------
    tuple of Difference
        One for each kind of swing that either flight shows, the slow one first; one for both kinds
        where neither flight shows any. Empty where either was refused or has no scale, and where
        neither shows a swing and nobody knows how far one could hide. Bending of the shaft is left
        out: it is normal and dies out.
    """
    if any(reading.refused is not None or reading.scale is None for reading in (first, second)):
        return ()
    found: list[Difference] = []
    sought = [kind for kind in SWINGING if _has(first, axis, kind) or _has(second, axis, kind)]
    for kind in sought:
        one, other = _shown(first, axis, kind), _shown(second, axis, kind)
        if one is not None and other is not None:
            found.append(_told(one, other, message(f"beside.about_{axis}_{kind}")))
    if sought:
        return tuple(found)
    one, other = _hidden(first, axis), _hidden(second, axis)
    if one.sigma_mm is None or other.sigma_mm is None:
        return ()
    return (_told(one, other, message(f"beside.about_{axis}")),)


def _told(one: _Shown, other: _Shown, about: Message) -> Difference:
    change_mm, sigma_mm = other.swing_mm - one.swing_mm, None
    if one.sigma_mm is not None and other.sigma_mm is not None:
        sigma_mm = hypot(one.sigma_mm, other.sigma_mm)
    if sigma_mm is None:
        name = "only_first" if one.found else "only_second"
    else:
        sure = abs(change_mm) > SURE * sigma_mm
        name = ("less" if change_mm < 0 else "more") if sure else "open"
        # Where no swing was found the sentence says so: a bare 0.0 mm would look measured.
        without = [side for side, of in (("first", one), ("second", other)) if not of.found]
        name += f"_no_{'_'.join(without)}" if without else ""
    return Difference(
        first_mm=one.swing_mm,
        second_mm=other.swing_mm,
        change_mm=None if sigma_mm is None else change_mm,
        sigma_mm=sigma_mm,
        about=about,
        sentence=message(
            f"beside.{name}",
            first_mm=one.swing_mm,
            second_mm=other.swing_mm,
            change_mm=abs(change_mm),
            error_mm=0.0 if sigma_mm is None else SURE * sigma_mm,
        ),
    )


def _has(reading: Reading, axis: Axis, kind: Kind) -> bool:
    return any(mode.kind == kind for mode in _modes(reading, axis))


def _shown(reading: Reading, axis: Axis, kind: Kind) -> _Shown | None:
    """Find the widest swing of a kind; None where the flight shows one of unknown size."""
    if not _has(reading, axis, kind):
        return _hidden(reading, axis)
    swings = [_swing(mode) for mode in _modes(reading, axis) if mode.kind == kind]
    known = [swing for swing in swings if swing is not None]
    return max(known, key=lambda swing: swing.swing_mm, default=None)


def _hidden(reading: Reading, axis: Axis) -> _Shown:
    """Give a swing of nought with the error of what could hide, where that is known."""
    below_mm = reading.unseen_below_mm[0 if axis == "across" else 1]
    sigma_mm = None if below_mm is None else below_mm / LIMIT_SIGMAS
    return _Shown(swing_mm=0.0, sigma_mm=sigma_mm, found=False)


def _modes(reading: Reading, axis: Axis) -> tuple[ModeLine, ...]:
    return reading.across if axis == "across" else reading.up_down


def _swing(mode: ModeLine) -> _Shown | None:
    if mode.swing_mm is None or mode.swing_sigma_mm is None or not isfinite(mode.swing_mm):
        return None
    return _Shown(swing_mm=mode.swing_mm, sigma_mm=mode.swing_sigma_mm, found=True)
