"""The static spine number goes in, the bending stiffness of the shaft comes out, and back.

References
----------
.. [1] ASTM F2031, Standard Test Method for Measurement of Arrow Shaft Static Spine (Stiffness).
.. [2] S. Timoshenko, Strength of Materials, Part I: a simply supported beam loaded at mid-span
   sags by D = F L³ / (48 E I).
"""

from __future__ import annotations

from classify.physics.inputs import need_positive

INCH_M = 0.0254
POUND_KG = 0.45359237
GRAVITY_M_S2 = 9.80665

STANDARD_SPAN_M = 28 * INCH_M
STANDARD_LOAD_N = 1.94 * POUND_KG * GRAVITY_M_S2
"""The standard [1] hangs 1.94 lb at mid-span, about 880 g."""

OLDER_SPINE_RATIO = (2.0 / 1.94) * (26 / 28) ** 3
"""Deflection in the older practice (26 in span, 2 lb) over that in the standard, same shaft."""


def spine_to_stiffness(spine: float) -> float:
    """Bending stiffness EI of a shaft from its static spine number.

    Parameters
    ----------
    spine
        Deflection in thousandths of an inch, 28 in span, 1.94 lb (880 g) at mid-span [1].

    Returns
    -------
    float
        EI in N·m².

    Raises
    ------
    InputError
        If the number is not positive and finite.

    Examples
    --------
    >>> round(spine_to_stiffness(400), 3)
    6.365
    """
    D = need_positive("spine", spine) * 1e-3 * INCH_M
    return STANDARD_LOAD_N * STANDARD_SPAN_M**3 / (48 * D)


def stiffness_to_spine(stiffness_n_m2: float) -> float:
    """Find the static spine number from the bending stiffness EI.

    Parameters
    ----------
    stiffness_n_m2
        EI in N·m².

    Returns
    -------
    float
        Thousandths of an inch.

    Raises
    ------
    InputError
        If the stiffness is not positive and finite.

    Examples
    --------
    >>> round(stiffness_to_spine(spine_to_stiffness(600)))
    600
    """
    EI = need_positive("stiffness_n_m2", stiffness_n_m2)
    return STANDARD_LOAD_N * STANDARD_SPAN_M**3 / (48 * EI) / (1e-3 * INCH_M)


def older_to_standard_spine(deflection_in: float) -> float:
    """Find the standard spine number of a shaft measured the older way: 26 in span, 2 lb.

    Parameters
    ----------
    deflection_in
        Deflection in inches.

    Returns
    -------
    float
        Thousandths of an inch as the standard [1] would measure it.

    Raises
    ------
    InputError
        If the deflection is not positive and finite.

    Examples
    --------
    >>> round(older_to_standard_spine(0.500))
    606
    """
    return 1e3 * need_positive("deflection_in", deflection_in) / OLDER_SPINE_RATIO
