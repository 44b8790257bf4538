"""Two flights next to each other: which swings wider, and whether the errors leave room for chance.

Two readings go in, a message comes out. It compares flights, not set-ups: what a change to the bow
did takes several arrows, and is told by `classify.compare`.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot, isfinite
from typing import Literal

from classify.types import LIMIT_SIGMAS, SWINGING, ModeLine, Reading
from tracker.types import Message, message

Axis = Literal["across", "up_down"]

SURE = 1.96
"""Standard errors from which a difference is called one: 95 % of a normal error, std."""


@dataclass(frozen=True, kw_only=True)
class Difference:
    """How the widest swing along one axis differs.

    Attributes
    ----------
    first_mm, second_mm
        Widest swing of each, zero to peak; 0 where none was found.
    change_mm, sigma_mm
        Second minus first, and its standard error.
    sentence
        In plain words.
    """

    first_mm: float
    second_mm: float
    change_mm: float
    sigma_mm: float
    sentence: Message


def difference(first: Reading, second: Reading, axis: Axis) -> Difference | None:
    """Compare the widest slow or fast swing of two flights along one axis.

    Parameters
    ----------
    first, second
        The flights.
    axis
        Across or up-down.

    Returns
    -------
    Difference or None
        None where either was refused, has no scale, or has neither a swing nor a limit to what
        could hide. Bending of the shaft is left out: it is
        normal and dies out.
    """
    one, other = _widest(first, axis), _widest(second, axis)
    if one is None or other is None:
        return None
    change, sigma = other[0] - one[0], hypot(one[1], other[1])
    name = "alike" if abs(change) <= SURE * sigma else ("less" if change < 0 else "more")
    # Where no swing was found the sentence says so, since a bare 0.0 mm would look measured.
    without = [side for side, found in (("first", one), ("second", other)) if found[0] == 0.0]
    none = f"_no_{'_'.join(without)}" if without else ""
    return Difference(
        first_mm=one[0],
        second_mm=other[0],
        change_mm=change,
        sigma_mm=sigma,
        sentence=message(
            f"beside.{axis}_{name}{none}",
            first_mm=one[0],
            second_mm=other[0],
            change_mm=abs(change),
            sigma_mm=sigma,
        ),
    )


def _widest(reading: Reading, axis: Axis) -> tuple[float, float] | None:
    """Swing and error in millimetres; without a swing 0, with the error of what could hide."""
    if reading.refused is not None or reading.scale is None:
        return None
    modes = reading.across if axis == "across" else reading.up_down
    swings = [_swing(mode) for mode in modes if mode.kind in SWINGING]
    known = [swing for swing in swings if swing is not None]
    if known:
        return max(known)
    below_mm = reading.unseen_below_mm[0 if axis == "across" else 1]
    return None if below_mm is None else (0.0, below_mm / LIMIT_SIGMAS)


def _swing(mode: ModeLine) -> tuple[float, float] | None:
    if mode.swing_mm is None or mode.swing_sigma_mm is None or not isfinite(mode.swing_mm):
        return None
    return mode.swing_mm, mode.swing_sigma_mm
