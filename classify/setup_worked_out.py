"""What follows from a set-up sheet: a checked sheet goes in; numbers with their formulas come out.

The physics is `classify.physics`; here is only what is shown on the sheet.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

from classify.physics import (
    centre_of_mass_m,
    complete,
    foc_percent,
    mass_kg,
    predict,
    yaw_is_usual,
)
from classify.setup_sheet import SetUp, arrow_spec
from classify.types import ArrowSpec, Estimate
from classify.units import UNITS
from tracker.types import Message, message

GRAIN_KG = float(UNITS["mass"]["gr"])
POUND_N = float(UNITS["force"]["lb"])
TYPED_SPEED_SIGMA = 0.02
"""Standard error of a typed arrow speed, as a share; chosen here."""
MASSES = ("shaft_kg_per_m", "length_m", "point_kg", "nock_kg", "fletching_kg")
LIGHT_GR_PER_LB = 5.0
"""Arrows lighter than this for each pound of draw weight strain a bow (common practice)."""

Name = Literal["foc", "foc_from_masses", "arrow_mass", "bending", "yaw", "grains_per_pound"]


@dataclass(frozen=True, kw_only=True)
class WorkedOut:
    """A number that follows from the sheet.

    Attributes
    ----------
    name
        Which.
    value, low, high
        The number and, where it has an error, its interval of one standard error; else None.
    unit
        As shown.
    formula
        How it was worked out, with the numbers that went in.
    question
        What looks odd about it, or None.
    """

    name: Name
    value: float
    low: float | None
    high: float | None
    unit: str
    formula: Message
    question: Message | None


def worked_out(sheet: SetUp) -> tuple[WorkedOut, ...]:
    """Work out everything the sheet allows.

    Parameters
    ----------
    sheet
        Checked.

    Returns
    -------
    tuple of WorkedOut
        Balance, mass, expected bending and yaw frequency, weight for each pound; left out where
        the sheet does not hold what is needed.

    Raises
    ------
    InputError
        If the parts together make no arrow.
    """
    lines = [*_foc(sheet), *_mass(sheet)]
    spec = arrow_spec(sheet)
    if spec.spine is not None and spec.length_m is not None:
        lines += _frequencies(sheet, spec)
    per_pound = _grains_per_pound(sheet)
    return tuple(lines if per_pound is None else [*lines, per_pound])


def sheet_foc_percent(sheet: SetUp) -> float | None:
    """Balance of the arrow as the sheet has it: measured, else from its masses.

    Parameters
    ----------
    sheet
        Checked.

    Returns
    -------
    float or None
        Per cent; None where neither can be had.
    """
    found = _foc(sheet)
    return found[0].value if found else None


def foc_step_percent(sheet: SetUp) -> float | None:
    """By how much ten grains more at the point move the balance.

    Parameters
    ----------
    sheet
        Checked.

    Returns
    -------
    float or None
        Per cent; None where the masses are not known.
    """
    spec = arrow_spec(sheet)
    if not _masses_known(spec) or spec.point_kg is None or spec.length_m is None:
        return None
    arrow, _ = complete(spec)
    heavier = replace(arrow, point_kg=arrow.point_kg + 10 * GRAIN_KG)
    return foc_percent(centre_of_mass_m(heavier), arrow.length_m) - foc_percent(
        centre_of_mass_m(arrow), arrow.length_m
    )


def _foc(sheet: SetUp) -> list[WorkedOut]:
    spec = arrow_spec(sheet)
    if spec.length_m is None:
        return []
    if spec.balance_m is not None:
        percent = foc_percent(spec.balance_m, spec.length_m)
        formula = message(
            "logbook.formula_foc",
            balance=sheet.typed["balance_point"], length=sheet.typed["arrow_length"],
            percent=percent,
        )  # fmt: skip
        return [_line("foc", percent, "%", formula, _foc_question(percent))]
    if not _masses_known(spec):
        return []
    arrow, _ = complete(spec)
    balance_m = centre_of_mass_m(arrow)
    percent = foc_percent(balance_m, arrow.length_m)
    formula = message(
        "logbook.formula_foc_from_masses", balance_mm=1000 * balance_m, percent=percent
    )
    return [_line("foc_from_masses", percent, "%", formula, _foc_question(percent))]


def _foc_question(percent: float) -> Message | None:
    if 10.0 <= percent <= 18.0:
        return None
    return message("logbook.foc_unusual", percent=percent)


def _masses_known(spec: ArrowSpec) -> bool:
    return all(getattr(spec, name) is not None for name in MASSES)


def _mass(sheet: SetUp) -> list[WorkedOut]:
    spec = arrow_spec(sheet)
    weighed = sheet.si("arrow_mass")
    if not _masses_known(spec):
        return []
    arrow, _ = complete(spec)
    total = mass_kg(arrow)
    formula = message(
        "logbook.formula_mass",
        shaft_gr=arrow.shaft_kg_per_m * arrow.length_m / GRAIN_KG,
        point_gr=arrow.point_kg / GRAIN_KG,
        nock_gr=arrow.nock_kg / GRAIN_KG, fletching_gr=arrow.fletching_kg / GRAIN_KG,
        total_gr=total / GRAIN_KG,
    )  # fmt: skip
    question = None
    if weighed is not None and abs(weighed / total - 1) > 0.03:
        question = message(
            "logbook.mass_differs",
            weighed=sheet.typed["arrow_mass"], total_gr=total / GRAIN_KG,
            percent=100 * (weighed / total - 1),
        )  # fmt: skip
    return [_line("arrow_mass", total / GRAIN_KG, "gr", formula, question)]


def _frequencies(sheet: SetUp, spec: ArrowSpec) -> list[WorkedOut]:
    typed = sheet.si("arrow_speed")
    speed = None if typed is None else Estimate(value=typed, sigma=TYPED_SPEED_SIGMA * typed)
    expected = predict(spec, speed_m_s=speed)
    lacking = not set(MASSES).isdisjoint(expected.assumed)
    bending = message(
        "logbook.formula_bending_typical" if lacking else "logbook.formula_bending",
        spine=sheet.typed["spine"], length=sheet.typed["arrow_length"],
        hz=expected.bending_hz.value,
    )  # fmt: skip
    yaw = message(
        "logbook.formula_yaw_usual" if yaw_is_usual(expected) else "logbook.formula_yaw",
        speed_m_s=expected.speed_m_s.value,
        hz=expected.yaw_hz.value,
    )
    return [
        _with_error("bending", expected.bending_hz, bending),
        _with_error("yaw", expected.yaw_hz, yaw),
    ]


def _grains_per_pound(sheet: SetUp) -> WorkedOut | None:
    force = sheet.si("draw_weight")
    mass = sheet.si("arrow_mass")
    if mass is None and _masses_known(arrow_spec(sheet)):
        mass = mass_kg(complete(arrow_spec(sheet))[0])
    if force is None or mass is None:
        return None
    ratio = (mass / GRAIN_KG) / (force / POUND_N)
    formula = message(
        "logbook.formula_grains_per_pound",
        mass_gr=mass / GRAIN_KG, weight_lb=force / POUND_N, ratio=ratio,
    )  # fmt: skip
    light = ratio < LIGHT_GR_PER_LB
    question = message("logbook.arrow_light", ratio=ratio, least=LIGHT_GR_PER_LB) if light else None
    return _line("grains_per_pound", ratio, "gr/lb", formula, question)


def _line(
    name: Name, value: float, unit: str, formula: Message, question: Message | None
) -> WorkedOut:
    return WorkedOut(
        name=name, value=value, low=None, high=None, unit=unit, formula=formula, question=question
    )


def _with_error(name: Name, expected: Estimate, formula: Message) -> WorkedOut:
    """Put one standard error, which is that of the logarithm, about a frequency."""
    factor = math.exp(expected.sigma)
    return WorkedOut(
        name=name,
        value=expected.value,
        low=expected.value / factor,
        high=expected.value * factor,
        unit="Hz",
        formula=formula,
        question=None,
    )
