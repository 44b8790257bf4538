"""Chances and limits of the few probability laws that readings and tests are judged by.

Numbers go in, probabilities or limits come out; nothing is known of arrows. Only special functions
are used: the package of every known law takes half a second to load, which each command and each
process that reads a film would pay.

References
----------
.. [1] M. Abramowitz, I. A. Stegun, "Handbook of Mathematical Functions" (1964), chapter 26.
.. [2] S. O. Rice, "Mathematical analysis of random noise", Bell Syst. Tech. J. 24 (1945) 46-156.
"""

from __future__ import annotations

from typing import TypeVar

import numpy as np
from scipy import special

from tracker.types import FloatArray

Number = TypeVar("Number", float, FloatArray)


def normal_below(z: Number) -> Number:
    """Give the chance that a standard normal number is below a limit.

    Parameters
    ----------
    z
        The limit.

    Returns
    -------
    float or numpy.ndarray

    Examples
    --------
    >>> round(normal_below(1.959964), 4)
    0.975
    """
    return _like(z, special.ndtr(z))


def chi2_beyond(x: float, dof: float) -> float:
    """Give the chance that chi-square exceeds a value.

    Parameters
    ----------
    x
        The value.
    dof
        Degrees of freedom.

    Returns
    -------
    float
    """
    return float(special.chdtrc(dof, x))


def chi2_exceeded(chance: float, dof: float) -> float:
    """Give the value that chi-square exceeds with a given chance.

    Parameters
    ----------
    chance
        Between 0 and 1.
    dof
        Degrees of freedom.

    Returns
    -------
    float

    Examples
    --------
    >>> round(chi2_exceeded(0.05, 4), 3)
    9.488
    """
    return float(special.chdtri(dof, chance))


def t_below(t: float, dof: float) -> float:
    """Give the chance that Student's t is below a limit.

    Parameters
    ----------
    t
        The limit.
    dof
        Degrees of freedom.

    Returns
    -------
    float
    """
    return float(special.stdtr(dof, t))


def t_limit(chance: float, dof: Number) -> Number:
    """Give the limit below which Student's t lies with a given chance.

    Parameters
    ----------
    chance
        Between 0 and 1.
    dof
        Degrees of freedom.

    Returns
    -------
    float or numpy.ndarray
        Of the shape of `dof`.

    Examples
    --------
    >>> round(t_limit(0.975, 10.0), 3)
    2.228
    """
    return _like(dof, special.stdtrit(dof, chance))


def f_beyond(f: float, above: float, below: float) -> float:
    """Give the chance that the ratio of two variances exceeds a value.

    Parameters
    ----------
    f
        The value.
    above, below
        Degrees of freedom of numerator and denominator.

    Returns
    -------
    float
    """
    return float(special.fdtrc(above, below, f))


def f_limit(chance: float, above: float, below: float) -> float:
    """Give the limit below which the ratio of two variances lies with a given chance.

    Parameters
    ----------
    chance
        Between 0 and 1.
    above, below
        Degrees of freedom of numerator and denominator.

    Returns
    -------
    float

    Examples
    --------
    >>> round(f_limit(0.95, 2.0, 10.0), 3)
    4.103
    """
    return float(special.fdtri(above, below, chance))


def rice_below(limit: Number, amplitude: Number) -> Number:
    """Give the chance that a Rice-distributed length [2]_ is below a limit.

    Parameters
    ----------
    limit, amplitude
        The limit and the true length, both in units of the error of each of its two components.

    Returns
    -------
    float or numpy.ndarray
    """
    return _like(limit, special.chndtr(np.square(limit), 2, np.square(amplitude)))


def rice_limit(chance: float, amplitude: Number) -> Number:
    """Give the limit below which a Rice-distributed length [2]_ lies with a given chance.

    Parameters
    ----------
    chance
        Between 0 and 1.
    amplitude
        The true length, in units of the error of each of its two components.

    Returns
    -------
    float or numpy.ndarray
        In the same unit.

    Examples
    --------
    >>> round(rice_limit(0.95, 0.0), 3)
    2.448
    """
    return _like(amplitude, np.sqrt(special.chndtrix(chance, 2, np.square(amplitude))))


def _like(given: Number, found: object) -> Number:
    """Give a number for a number and an array for an array."""
    if isinstance(given, np.ndarray):
        return np.asarray(found, dtype=np.float64)
    return float(found)  # type: ignore[arg-type]
