"""What a cure changes on the set-up sheet: a cure and a sheet go in; fields to be typed come out.

A suggestion only: what was really done is what the person writes down.
"""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction

from classify.setup_sheet import SetUp, differences, sheet_fields
from classify.units import UNITS, UnitKind, parse_quantity

_Step = tuple[str, str, str]
"""Field, its kind's unit, and how much it changes in that unit."""

STEPS: Mapping[str, _Step] = {
    "lower_nocking": ("nocking_point", "mm", "-0.8"),
    "raise_nocking": ("nocking_point", "mm", "0.8"),
    "raise_nocking_for_contact": ("nocking_point", "mm", "0.8"),
    "draw_weight_down": ("draw_weight", "lb", "-1"),
    "draw_weight_up": ("draw_weight", "lb", "1"),
    "point_lighter": ("point_mass", "gr", "-10"),
    "point_heavier": ("point_mass", "gr", "10"),
    "balance_forward": ("point_mass", "gr", "10"),
    "balance_back": ("point_mass", "gr", "-10"),
    "more_strands": ("strands", "", "2"),
    "fewer_strands": ("strands", "", "-2"),
    "plunger_stiffer": ("plunger_spring", "turns", "0.25"),
    "plunger_softer": ("plunger_spring", "turns", "-0.25"),
    "plunger_out": ("centre_shot", "mm", "0.5"),
    "centre_shot_out": ("centre_shot", "mm", "0.5"),
    "centre_shot_in": ("centre_shot", "mm", "-0.5"),
    "turn_nock": ("nock_turn", "turns", "1/32"),
    "turn_nock_low": ("nock_turn", "turns", "1/32"),
    "shorten_shaft": ("arrow_length", "mm", "-5"),
}

WITHOUT_SHEET = frozenset({
    "set_arrow_aside", "replace_nock", "replace_vane", "rest_arm_in", "relax_bow_hand",
    "plunger_series", "take_back",
})  # fmt: skip
"""Cures after which the sheet may read as before: what was done is kept in words."""


BELOW_NOUGHT = {"lower_nocking": "nocking_point", "plunger_softer": "plunger_spring"}
"""Cures that end where a field of the sheet reads nought: a nocking point below square and a spring
that is let go entirely are no settings to tune with (common practice)."""


def at_end(sheet: SetUp) -> frozenset[str]:
    """Tell for which cures a sheet leaves no room.

    Parameters
    ----------
    sheet
        As it is now.

    Returns
    -------
    frozenset of str
        Cures whose next step would go below nought.

    Examples
    --------
    >>> from classify.setup_sheet import fill_sheet
    >>> at_end(fill_sheet({"nocking_point": "0.5 mm", "plunger_spring": "1 turn"}))
    frozenset({'lower_nocking'})
    """
    found = set()
    for cure, name in BELOW_NOUGHT.items():
        step = STEPS[cure]
        there = sheet.quantities.get(name)
        if there is None:
            continue
        table = UNITS[_measured(sheet_fields()[name].kind)]
        if there.exact * table[there.unit] + Fraction(step[2]) * table[step[1]] < 0:
            found.add(cure)
    return frozenset(found)


def suggested_changes(
    cure: str, amount: float | None, sheet: SetUp, *, before: SetUp | None = None
) -> dict[str, str]:
    """Suggest what to type into the sheet after a cure was done.

    Parameters
    ----------
    cure
        Name in the knowledge file.
    amount
        How much, for draw weight in pounds; None for the usual step.
    sheet
        As it is now.
    before
        As it was before the last change; what is to be taken back is known from it.

    Returns
    -------
    dict
        Text by field, in the unit the field was typed in; empty where the cure changes something
        that only the person can name (a shaft, a serving), or the field was not filled in. An
        empty text clears a field.

    Examples
    --------
    >>> from classify.setup_sheet import fill_sheet
    >>> suggested_changes("lower_nocking", None, fill_sheet({"nocking_point": "12 mm"}))
    {'nocking_point': '11.2 mm'}
    """
    if cure == "take_back" and before is not None:
        return {name: then for name, then, _ in differences(before, sheet)}
    if cure not in STEPS:
        return {}
    name, unit, step = STEPS[cure]
    there = sheet.quantities.get(name)
    change = Fraction(step)
    if amount is not None and cure.startswith("draw_weight"):
        change *= abs(Fraction(amount).limit_denominator(1000))
    kind = sheet_fields()[name].kind
    if there is None:
        if name != "nock_turn":
            return {}
        there = parse_quantity("0 turns", "turn", name=name)  # nobody turned it yet
    table = UNITS[_measured(kind)]
    after = there.exact + change * table[unit] / table[there.unit]
    return {name: f"{_decimal(after)} {there.unit}".strip()}


def _measured(kind: str) -> UnitKind:
    measured: dict[str, UnitKind] = {str(name): name for name in UNITS}
    return measured[kind]


def _decimal(number: Fraction) -> str:
    """Write a number short: up to five decimals, no noughts behind."""
    return f"{float(number):.5f}".rstrip("0").rstrip(".")
