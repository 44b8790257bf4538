"""Speed, drag and distance of an arrow: launch values go in, speed and time along the way come out.

Drag alone, along the path: dv/dt = -kappa v², so that dv/dz = -kappa v and everything is closed:
``v(z) = v0 exp(-kappa z)``, ``t(z) = (exp(kappa z) - 1) / (kappa v0)``.

References
----------
.. [1] J. Ortiz, T. Miyazaki et al., Proceedings 49(1), 56 (2020),
   doi 10.3390/proceedings2020049056: drag coefficient of arrows on the shaft's cross-section at a
   Reynolds number of 1.2e4: 1.56 with short straight vanes, 2.05 with large ones.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from classify.physics.inputs import need_not_negative, need_positive
from tracker.types import FloatArray, InputError

AIR_KG_PER_M3 = 1.204
"""Dry air at 20 °C and 101.325 kPa."""
AIR_M2_PER_S = 1.516e-5
"""Kinematic viscosity of the same air."""
STOPPED = 7.0
"""Past this many e-foldings less than a thousandth of the speed is left: no flight any more."""


def reynolds(speed_m_s: float, diameter_m: float) -> float:
    """Reynolds number on the shaft's diameter, Re = v d / nu.

    Parameters
    ----------
    speed_m_s
        Of the arrow.
    diameter_m
        Of the shaft.

    Returns
    -------
    float

    Raises
    ------
    InputError
        If a number is not positive and finite.

    Examples
    --------
    >>> round(reynolds(55.0, 0.0055), -2)
    20000.0
    """
    v = need_positive("speed_m_s", speed_m_s)
    return v * need_positive("diameter_m", diameter_m) / AIR_M2_PER_S


def drag_per_m(
    drag_coefficient: float,
    diameter_m: float,
    mass_kg: float,
    air_kg_per_m3: float = AIR_KG_PER_M3,
) -> float:
    """Share of the speed lost in each metre: kappa = rho A Cd / (2 m).

    Parameters
    ----------
    drag_coefficient
        On the shaft's cross-section [1].
    diameter_m
        Of the shaft.
    mass_kg
        Of the whole arrow.
    air_kg_per_m3
        Density of the air.

    Returns
    -------
    float
        1/m; the deceleration is ``kappa * v**2``.

    Raises
    ------
    InputError
        If a number is not positive and finite.

    Examples
    --------
    >>> round(drag_per_m(1.56, 0.0055, 0.01987), 6)
    0.001123
    """
    A = np.pi / 4 * need_positive("diameter_m", diameter_m) ** 2
    Cd = need_positive("drag_coefficient", drag_coefficient)
    rho = need_positive("air_kg_per_m3", air_kg_per_m3)
    return float(rho * A * Cd / (2 * need_positive("mass_kg", mass_kg)))


def speed_after_m_s(speed_m_s: float, kappa_per_m: float, distance_m: float) -> float:
    """Speed after a distance, v0 exp(-kappa z).

    Parameters
    ----------
    speed_m_s
        At release.
    kappa_per_m
        From `drag_per_m`; zero for no drag.
    distance_m
        Along the path.

    Returns
    -------
    float
        m/s.

    Raises
    ------
    InputError
        If a number cannot be used.

    Examples
    --------
    >>> round(1 - speed_after_m_s(55.0, 0.001123, 70.0) / 55.0, 3)
    0.076
    """
    kappa = need_not_negative("kappa_per_m", kappa_per_m)
    z = need_not_negative("distance_m", distance_m)
    return float(need_positive("speed_m_s", speed_m_s) * np.exp(-kappa * z))


def flight_time_s(speed_m_s: float, kappa_per_m: float, distance_m: float) -> float:
    """Time to a distance, (exp(kappa z) - 1) / (kappa v0).

    Parameters
    ----------
    speed_m_s
        At release.
    kappa_per_m
        From `drag_per_m`; zero for no drag.
    distance_m
        Along the path.

    Returns
    -------
    float
        Seconds.

    Raises
    ------
    InputError
        If a number cannot be used, or the arrow would be all but stopped before that distance.

    Examples
    --------
    >>> round(flight_time_s(55.0, 0.001123, 18.0), 4)
    0.3306
    """
    v = need_positive("speed_m_s", speed_m_s)
    z = need_not_negative("distance_m", distance_m)
    loss = need_not_negative("kappa_per_m * distance_m", kappa_per_m * z)
    if loss > STOPPED:
        raise InputError("plan.stopped", distance_m=z)
    return float(z / v * (np.expm1(loss) / loss if loss > 0 else 1.0))


def distance_after_m(time_s: npt.ArrayLike, speed_m_s: float, kappa_per_m: float) -> FloatArray:
    """Distance flown after a time, ln(1 + kappa v0 t) / kappa.

    Parameters
    ----------
    time_s
        Since release, not negative.
    speed_m_s
        At release.
    kappa_per_m
        From `drag_per_m`; zero for no drag.

    Returns
    -------
    numpy.ndarray
        Metres, same shape as the time.

    Raises
    ------
    InputError
        If a number cannot be used.

    Examples
    --------
    >>> distance_after_m([0.0, 0.3306], 55.0, 0.001123).round(2)
    array([ 0., 18.])
    """
    t = np.asarray(time_s, dtype=np.float64)
    need_not_negative("time_s", float(t.min(initial=0.0)) if np.isfinite(t).all() else np.nan)
    v = need_positive("speed_m_s", speed_m_s)
    kappa = need_not_negative("kappa_per_m", kappa_per_m)
    if kappa == 0:
        return v * t
    return np.asarray(np.log1p(kappa * v * t) / kappa, dtype=np.float64)
