"""A number goes in and comes out unchanged, if physics can use it; else one clear refusal."""

from __future__ import annotations

import math

from tracker.types import InputError

HUGE = 1e9
"""No quantity of an arrow or its flight comes near this in SI units; larger would overflow."""


def need_positive(name: str, value: float) -> float:
    """Let a usable positive number through.

    Parameters
    ----------
    name
        Of the quantity, with its unit, as the set-up sheet names it.
    value
        What was given.

    Returns
    -------
    float
        The same number.

    Raises
    ------
    InputError
        If it is not finite, not above zero, or beyond any physical size.

    Examples
    --------
    >>> need_positive("length_m", 0.72)
    0.72
    """
    if not (math.isfinite(value) and 1 / HUGE < value < HUGE):
        raise InputError("plan.not_positive", name=name, found=float(value))
    return float(value)


def need_not_negative(name: str, value: float) -> float:
    """Let a usable number through that may be zero.

    Parameters
    ----------
    name
        Of the quantity, with its unit.
    value
        What was given.

    Returns
    -------
    float
        The same number.

    Raises
    ------
    InputError
        If it is not finite, negative, or beyond any physical size.

    Examples
    --------
    >>> need_not_negative("nock_kg", 0.0)
    0.0
    """
    if not (math.isfinite(value) and 0 <= value < HUGE):
        raise InputError("plan.negative", name=name, found=float(value))
    return float(value)
