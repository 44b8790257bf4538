"""What stands in a set-up sheet, in the words of a page: a field and its text go in, a text out.

What a person typed freely stays as it was typed.
"""

from __future__ import annotations

import re
from fractions import Fraction

from classify.setup_sheet import SetUp, sheet_fields
from classify.units import UnitSystem, shown
from tracker.types import message
from ui.words import say

_STEPS = 32
"""Of a turn: in these the knowledge file says how far a nock is to be turned."""
_UNIT = re.compile(r"(?<=\d) ?(degrees?|turns?)$")


def sheet_text(sheet: SetUp, name: str, language: str, units: UnitSystem = "as typed") -> str:
    """Say what stands in a field: choice and unit in words, small turns of a nock in their steps.

    Parameters
    ----------
    sheet, name
        The sheet and its field.
    language
        Two letters.
    units
        In which a measured value is shown.

    Returns
    -------
    str
        In this language; empty where nothing is filled in.

    Examples
    --------
    >>> from classify.setup_sheet import fill_sheet
    >>> sheet = fill_sheet({"nock_fit": "good", "nock_turn": "0.0625 turns"})
    >>> sheet_text(sheet, "nock_fit", "es"), sheet_text(sheet, "nock_turn", "en")
    ('bueno', '2/32 of a turn')
    """
    text, quantity = sheet.typed.get(name, ""), sheet.quantities.get(name)
    if text and sheet_fields()[name].kind == "choice":
        return say(message(f"rounds.choice_{text}"), language)
    if quantity is not None and name == "nock_turn":
        steps = quantity.exact * _STEPS
        if steps and steps.denominator == 1:
            return say(message("logbook.turn_steps", steps=int(steps)), language)
    said = text if quantity is None else shown(quantity, units)
    unit = _UNIT.search(said)
    if unit is None:
        return said
    plural = unit.group(1).rstrip("s") + "s"
    number = said[: unit.start()]
    count = "one" if _is_one(number) else "many"
    return f"{number} {say(message(f'logbook.unit_{plural}_{count}'), language)}"


def _is_one(number: str) -> bool:
    try:
        return Fraction(number.replace(",", ".")) == 1
    except ValueError:
        return False
