"""An arrow and its speed go in, its rigid yaw comes out: stiffness, frequency, wavelength, damping.

No measured yaw frequency of an arrow in free flight was found, so nothing here is tuned to one; the
theory is for slender finned bodies at small angles and is carried with 30 % in `prediction`.

References
----------
.. [1] J. S. Barrowman, The Practical Calculation of the Aerodynamic Characteristics of Slender
   Finned Vehicles, Catholic University of America (1967).
.. [2] D. James and J. Potts, Sports Engineering 21 (2018) 347-358, doi 10.1007/s12283-018-0279-9:
   the same oscillator measured on a thrown dart; wavelength and damping ratio do not depend on the
   speed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from classify.physics.arrow import Arrow, centre_of_mass_m, inertia_kg_m2, mass_kg
from classify.physics.flight import AIR_KG_PER_M3
from classify.physics.inputs import need_positive
from tracker.types import InputError

NOSE_SLOPE = 2.0
"""Lift slope of a slender nose of any shape [1]."""
TIP_CHORD = 0.5
"""A vane's outer edge over its base, straight at the rear; chosen here as the usual shape."""


@dataclass(frozen=True, kw_only=True)
class Yaw:
    """Rigid yaw (or pitch) of an arrow at one speed.

    Attributes
    ----------
    stiffness_n_m
        Aerodynamic moment per radian of yaw.
    frequency_hz
        Undamped; the damped one is less than 1 % lower.
    wavelength_m
        Metres flown in one period; does not depend on the speed.
    damping_ratio
        Fraction of critical damping; does not depend on the speed.
    """

    stiffness_n_m: float
    frequency_hz: float
    wavelength_m: float
    damping_ratio: float


def fin_lift_slope(arrow: Arrow) -> float:
    """Lift slope of the vanes on the shaft's cross-section, interference of the shaft included [1].

    ``[1 + R/(S + R)] 4 N (S/d)² / (1 + sqrt(1 + (2 Lm/(cr + ct))²))`` with N vanes of height S,
    base cr and outer edge ct, Lm the slant length of the line through the middles of both.

    Parameters
    ----------
    arrow
        Its parts.

    Returns
    -------
    float
        Per radian; 0 for a bare shaft.

    Examples
    --------
    >>> from classify.physics.arrow import complete
    >>> from classify.types import ArrowSpec
    >>> round(fin_lift_slope(complete(ArrowSpec())[0]), 2)
    15.32
    """
    S, d, cr = arrow.vane_height_m, arrow.diameter_m, arrow.vane_length_m
    R, ct = d / 2, TIP_CHORD * cr
    # rear edges in line, so the middle of the outer edge lies (cr - ct)/2 further back
    Lm = np.hypot(S, (cr - ct) / 2)
    body = 1 + R / (S + R)
    return float(body * 4 * arrow.vanes * (S / d) ** 2 / (1 + np.hypot(1, 2 * Lm / (cr + ct))))


def yaw_motion(arrow: Arrow, speed_m_s: float, air_kg_per_m3: float = AIR_KG_PER_M3) -> Yaw:
    """Rigid yaw of an arrow.

    ``k = ½ rho V² A (CN_fins l_fins - CN_nose l_nose)``, ``f = sqrt(k / I) / (2 pi)``; the damping
    adds the moment of the turning (½ rho V A sum CN l² / I) and the drift of the whole arrow that
    the side force causes (½ rho V A sum CN / m).

    Parameters
    ----------
    arrow
        Its parts.
    speed_m_s
        Of the arrow.
    air_kg_per_m3
        Density of the air.

    Returns
    -------
    Yaw

    Raises
    ------
    InputError
        If the speed is not positive and finite, or the vanes do not hold this arrow straight: then
        it does not swing, it turns over.

    Examples
    --------
    >>> from classify.physics.arrow import complete
    >>> from classify.types import ArrowSpec
    >>> yaw = yaw_motion(complete(ArrowSpec())[0], 55.0)
    >>> 2.0 < yaw.frequency_hz < 2.5
    True
    """
    V = need_positive("speed_m_s", speed_m_s)
    rho = need_positive("air_kg_per_m3", air_kg_per_m3)
    A = np.pi / 4 * arrow.diameter_m**2
    inertia, mass, centre = inertia_kg_m2(arrow), mass_kg(arrow), centre_of_mass_m(arrow)
    slope = np.array([fin_lift_slope(arrow), NOSE_SLOPE])
    # lever behind the centre of mass: vanes positive, nose negative
    lever = np.array([centre - arrow.vane_from_nock_m, centre - arrow.length_m])
    k = float(0.5 * rho * V**2 * A * np.sum(slope * lever))
    if k <= 0:
        raise InputError("plan.turns_over")
    omega = np.sqrt(k / inertia)
    turning = 0.5 * rho * V * A * float(np.sum(slope * lever**2)) / inertia
    drifting = 0.5 * rho * V * A * float(np.sum(slope)) / mass
    return Yaw(
        stiffness_n_m=k,
        frequency_hz=float(omega / (2 * np.pi)),
        wavelength_m=float(2 * np.pi * V / omega),
        damping_ratio=float((turning + drifting) / (2 * omega)),
    )
