"""The parts of an arrow go in; mass, balance, inertia and bending come out.

The model: a uniform shaft from the throat of the nock to its end, the nock's mass at the throat,
the vanes' mass at the middle of the vanes, the mass of point and insert at the end of the shaft.

References
----------
.. [1] ASTM F1435, Standard Specification for Determination of Percent FOC, Balance Point of
   Arrows: FOC % = 100 (A - L/2) / L, A from the nock's throat to the balance point.
.. [2] J. Park, "Arrows: dynamic behaviour", Bow International: first bending mode of real arrows
   80 to 90 Hz, second 210 to 220 Hz, nodes of the first about 50 mm from the point and 150 mm from
   the nock.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace

import numpy as np

from classify.physics.beam import lumped_roots, mode_nodes, root_to_hz
from classify.physics.inputs import need_not_negative, need_positive
from classify.physics.spine import spine_to_stiffness
from classify.types import ArrowSpec
from tracker.types import FloatArray, InputError


@dataclass(frozen=True, kw_only=True)
class Arrow:
    """An arrow of which every part is known or assumed.

    Attributes
    ----------
    spine, length_m, shaft_kg_per_m, point_kg, nock_kg, fletching_kg, diameter_m
        As in `classify.types.ArrowSpec`, none missing.
    vanes, vane_length_m, vane_height_m, vane_from_nock_m
        As there; no vanes means a bare shaft.

    Raises
    ------
    InputError
        If a part cannot be: a size that is not positive, vanes off the shaft.
    """

    spine: float
    length_m: float
    shaft_kg_per_m: float
    point_kg: float
    nock_kg: float
    fletching_kg: float
    diameter_m: float
    vanes: int
    vane_length_m: float
    vane_height_m: float
    vane_from_nock_m: float

    def __post_init__(self) -> None:
        for name in (
            "spine",
            "length_m",
            "shaft_kg_per_m",
            "diameter_m",
            "vane_length_m",
            "vane_height_m",
        ):
            need_positive(name, getattr(self, name))
        for name in ("point_kg", "nock_kg", "fletching_kg", "vanes", "vane_from_nock_m"):
            need_not_negative(name, getattr(self, name))
        if self.vane_from_nock_m > self.length_m:
            raise InputError("plan.off_the_shaft")


POPULATION: Mapping[str, tuple[float, float]] = {
    "spine": (600.0, 0.30),
    "length_m": (0.72, 0.05),
    "shaft_kg_per_m": (0.01684, 0.15),
    "point_kg": (0.0068, 0.18),
    "nock_kg": (0.00045, 0.30),
    "fletching_kg": (0.0008, 0.50),
    "diameter_m": (0.0055, 0.15),
    "vane_length_m": (0.044, 0.20),
    "vane_height_m": (0.008, 0.20),
    "vane_from_nock_m": (0.035, 0.30),
}
"""Median and standard deviation of the logarithm over recurve target arrows; chosen here. The
mass per metre is that of spine 600 and goes as spine to the power -1/2: stiffer shafts have more
wall."""

USUAL_VANES = 3


def complete(spec: ArrowSpec) -> tuple[Arrow, tuple[str, ...]]:
    """Fill the gaps of a set-up sheet with what is usual.

    Parameters
    ----------
    spec
        The arrow as far as it is known.

    Returns
    -------
    Arrow
        Without gaps.
    tuple of str
        Names of the parts that were assumed. The balance point, where it is known and the point's
        mass is not, gives that mass, which then is not assumed.

    Raises
    ------
    InputError
        If a part that is known cannot be.

    Examples
    --------
    >>> arrow, assumed = complete(ArrowSpec(spine=400.0, length_m=0.7112))
    >>> round(arrow.shaft_kg_per_m, 4), assumed[0]
    (0.0206, 'shaft_kg_per_m')
    """
    known = {
        field.name: value
        for field in fields(Arrow)
        if (value := getattr(spec, field.name)) is not None
    }
    spine = need_positive("spine", known.get("spine", POPULATION["spine"][0]))
    usual = {name: median for name, (median, _) in POPULATION.items()}
    usual["shaft_kg_per_m"] *= (POPULATION["spine"][0] / spine) ** 0.5
    if "length_m" in known:
        usual["vane_from_nock_m"] = min(usual["vane_from_nock_m"], known["length_m"] / 2)
    assumed = [name for name in usual if name not in known]
    arrow = Arrow(**{"vanes": USUAL_VANES, **usual, **known})
    if spec.balance_m is not None:
        need_positive("balance_m", spec.balance_m)
    if "point_kg" in assumed and spec.balance_m is not None:
        arrow = replace(arrow, point_kg=_point_from_balance(arrow, spec.balance_m))
        assumed.remove("point_kg")
    return arrow, tuple(assumed)


def _point_from_balance(arrow: Arrow, balance_m: float) -> float:
    """Mass of point and insert that puts the balance point where it was measured."""
    a = need_positive("balance_m", balance_m)
    if a >= arrow.length_m:
        raise InputError("plan.off_the_shaft")
    at, mass = _lumps(arrow)
    shaft = arrow.shaft_kg_per_m * arrow.length_m
    moment = shaft * (a - arrow.length_m / 2) + float(np.sum(mass[:2] * (a - at[:2])))
    if moment <= 0:
        raise InputError("plan.balance_too_far_back", balance_mm=1000 * a)
    return moment / (arrow.length_m - a)


def _lumps(arrow: Arrow) -> tuple[FloatArray, FloatArray]:
    """(3,) places from the nock's throat in m and masses in kg: nock, vanes, point."""
    return (
        np.array([0.0, arrow.vane_from_nock_m, arrow.length_m]),
        np.array([arrow.nock_kg, arrow.fletching_kg, arrow.point_kg]),
    )


def mass_kg(arrow: Arrow) -> float:
    """Mass of the whole arrow.

    Parameters
    ----------
    arrow
        Its parts.

    Returns
    -------
    float
        Kilograms.

    Examples
    --------
    >>> arrow, _ = complete(ArrowSpec(spine=600.0, length_m=0.7239, point_kg=0.00648))
    >>> round(1000 * mass_kg(arrow), 1)
    19.9
    """
    return float(arrow.shaft_kg_per_m * arrow.length_m + _lumps(arrow)[1].sum())


def centre_of_mass_m(arrow: Arrow) -> float:
    """Distance of the centre of mass from the nock's throat.

    Parameters
    ----------
    arrow
        Its parts.

    Returns
    -------
    float
        Metres.

    Examples
    --------
    >>> arrow, _ = complete(ArrowSpec(spine=600.0, length_m=0.7239, point_kg=0.00648))
    >>> round(centre_of_mass_m(arrow), 3)
    0.458
    """
    at, mass = _lumps(arrow)
    shaft = arrow.shaft_kg_per_m * arrow.length_m
    return float((shaft * arrow.length_m / 2 + np.sum(mass * at)) / mass_kg(arrow))


def inertia_kg_m2(arrow: Arrow) -> float:
    """Moment of inertia about a crosswise axis through the centre of mass.

    Parameters
    ----------
    arrow
        Its parts.

    Returns
    -------
    float
        kg·m².

    Examples
    --------
    >>> arrow, _ = complete(ArrowSpec(spine=600.0, length_m=0.7239, point_kg=0.00648))
    >>> round(1000 * inertia_kg_m2(arrow), 2)
    1.34
    """
    a = centre_of_mass_m(arrow)
    at, mass = _lumps(arrow)
    L = arrow.length_m
    shaft = arrow.shaft_kg_per_m * L * (L**2 / 12 + (L / 2 - a) ** 2)
    return float(shaft + np.sum(mass * (at - a) ** 2))


def foc_percent(balance_m: float, length_m: float) -> float:
    """How far the balance point lies in front of the middle: 100 (A - L/2) / L [1].

    Parameters
    ----------
    balance_m
        Nock's throat to balance point, A.
    length_m
        Nock's throat to the end of the shaft, point excluded, L.

    Returns
    -------
    float
        Per cent of the length; negative if the balance point lies behind the middle.

    Raises
    ------
    InputError
        If a length is not positive and finite.

    Examples
    --------
    >>> round(foc_percent(19.0 * 0.0254, 28.5 * 0.0254), 2)
    16.67
    """
    A = need_positive("balance_m", balance_m)
    L = need_positive("length_m", length_m)
    return 100 * (A - L / 2) / L


def bending_hz(arrow: Arrow, mode: int = 1) -> float:
    """Frequency of a free bending mode of the whole arrow.

    Parameters
    ----------
    arrow
        Its parts.
    mode
        1 for the first, which a finger release always sets going.

    Returns
    -------
    float
        Hz. Real shafts taper and carry their mass unevenly: about 8 % for the first mode [2], more
        for the second.

    Raises
    ------
    InputError
        If the masses are too heavy for the beam to matter.

    Examples
    --------
    >>> arrow, _ = complete(ArrowSpec(spine=600.0, length_m=0.7239, point_kg=0.00648))
    >>> 72 < bending_hz(arrow) < 75
    True
    """
    root = _bending_root(arrow, mode)
    EI = spine_to_stiffness(arrow.spine)
    return root_to_hz(root, EI, arrow.shaft_kg_per_m, arrow.length_m)


def bending_nodes_m(arrow: Arrow, mode: int = 1) -> FloatArray:
    """Places of the arrow that stand still while it bends.

    Parameters
    ----------
    arrow
        Its parts.
    mode
        1 for the first.

    Returns
    -------
    numpy.ndarray
        (mode + 1,) metres from the nock's throat, rising.

    Raises
    ------
    InputError
        If the masses are too heavy for the beam to matter.

    Examples
    --------
    >>> arrow, _ = complete(ArrowSpec(spine=600.0, length_m=0.7239, point_kg=0.00648))
    >>> len(bending_nodes_m(arrow))
    2
    """
    at, mu = _shares(arrow)
    return mode_nodes(_bending_root(arrow, mode), at, mu) * arrow.length_m


def _bending_root(arrow: Arrow, mode: int) -> float:
    at, mu = _shares(arrow)
    return float(lumped_roots(at, mu, mode)[mode - 1])


def _shares(arrow: Arrow) -> tuple[FloatArray, FloatArray]:
    """Places and masses as shares of the shaft's length and mass."""
    at, mass = _lumps(arrow)
    return at / arrow.length_m, mass / (arrow.shaft_kg_per_m * arrow.length_m)
