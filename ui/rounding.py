"""Writes a measured number with its error: the one way in which every face rounds."""

from __future__ import annotations

import math


def signed_cm(value_m: float) -> str:
    """Write a length in centimetres with its sign; nought has none.

    Parameters
    ----------
    value_m
        In metres.

    Returns
    -------
    str
        Without the unit.

    Examples
    --------
    >>> signed_cm(0.0512), signed_cm(-0.0512), signed_cm(-0.0001)
    ('+5.1', '-5.1', '0.0')
    """
    text = f"{100 * value_m:+.1f}"
    return text[1:] if float(text) == 0 else text


def with_error(value: float, sigma: float) -> str:
    """Write a number and its standard error, rounded to one or two digits of the error.

    Parameters
    ----------
    value, sigma
        In one unit.

    Returns
    -------
    str
        Without the unit.

    Examples
    --------
    >>> with_error(4.1234, 0.0377)
    '4.12 ± 0.04'
    >>> with_error(12.34, 1.23)
    '12.3 ± 1.2'
    >>> with_error(3.0, float("inf"))
    '3 ± ?'
    """
    if not math.isfinite(sigma):
        return f"{value:.2g} ± ?"
    if sigma <= 0:
        return f"{value:.3g} ± 0"
    power = math.floor(math.log10(sigma))
    # Two digits of an error that begins with 1, where one digit would round by up to 50 %.
    digits = 1 if sigma / 10.0**power < 1.95 else 0
    places = max(0, digits - power)
    return f"{value:.{places}f} ± {sigma:.{places}f}"
