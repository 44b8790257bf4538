"""Numbers as the trade writes them: typed text goes in; SI values and other units come out.

The text is kept as it was typed; SI stands beside it and is worked out exactly, so that nothing
is rounded twice.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from tracker.types import InputError

UnitKind = Literal["length", "mass", "force", "mass per length", "speed", "turn", "count", "number"]

UnitSystem = Literal["imperial", "metric", "as typed"]
"""In which units numbers are shown."""

UNITS: dict[UnitKind, dict[str, Fraction]] = {
    # international inch, grain and pound are exact by definition; so is standard gravity
    "length": {"mm": Fraction(1, 1000), "cm": Fraction(1, 100), "m": Fraction(1),
               "in": Fraction(254, 10000), "ft": Fraction(3048, 10000)},
    "mass": {"g": Fraction(1, 1000), "kg": Fraction(1), "gr": Fraction(6479891, 10**11)},
    "force": {"lb": Fraction(45359237, 10**8) * Fraction(980665, 10**5), "N": Fraction(1),
              "kg": Fraction(980665, 10**5)},
    "mass per length": {"gr/in": Fraction(6479891, 10**11) / Fraction(254, 10000),
                        "g/m": Fraction(1, 1000)},
    "speed": {"m/s": Fraction(1), "ft/s": Fraction(3048, 10000), "km/h": Fraction(1000, 3600)},
    "turn": {"turns": Fraction(1)},
    "count": {"": Fraction(1)},
    "number": {"": Fraction(1)},
}  # fmt: skip
"""By kind, unit: how many SI units it is (turns, counts and plain numbers have none)."""

IMPERIAL = ("in", "ft", "gr", "gr/in", "lb", "ft/s")
METRIC = ("mm", "cm", "m", "g", "kg", "g/m", "N", "m/s", "km/h")
SPELLINGS = {
    '"': "in", "″": "in", "inch": "in", "inches": "in", "'": "ft", "grains": "gr", "grain": "gr",
    "lbs": "lb", "pounds": "lb", "#": "lb", "fps": "ft/s", "gpi": "gr/in", "turn": "turns",
    "vuelta": "turns", "vueltas": "turns", "libras": "lb", "granos": "gr",
    "metres": "m", "meter": "m", "kgf": "kg", "n": "N",
}  # fmt: skip
VULGAR = {"¼": "1/4", "½": "1/2", "¾": "3/4", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8"}
_NUMBER = re.compile(
    r"(?P<sign>[-+−]?)\s*(?:(?P<whole>\d{1,15})(?:\s+|-))??"
    r"(?:(?P<over>\d{1,15})/(?P<under>\d{1,15})"
    r"|(?P<decimal>\d{1,15}(?:[.,]\d{0,15})?|[.,]\d{1,15}))\s*(?P<unit>[A-Za-z\"'″#].*)?",
    re.ASCII,
)


@dataclass(frozen=True, kw_only=True)
class Quantity:
    """A number as somebody typed it, and what it is in SI.

    Attributes
    ----------
    typed
        The text, unchanged.
    kind
        What is measured.
    exact
        In `unit`, without rounding.
    unit
        As typed, in its usual spelling.
    """

    typed: str
    kind: UnitKind
    exact: Fraction
    unit: str

    @property
    def si(self) -> float:
        """In metres, kilograms, newtons, metres a second; turns, counts and numbers as they are."""
        return float(self.exact * UNITS[self.kind][self.unit])

    def in_unit(self, unit: str) -> float:
        """Value in another unit of the same kind."""
        table = UNITS[self.kind]
        return float(self.exact * table[self.unit] / table[unit])


def parse_quantity(text: str, kind: UnitKind, *, name: str) -> Quantity:
    """Read a number with its unit as the trade writes it.

    Parameters
    ----------
    text
        For example ``8 3/4 in``, ``8¾"``, ``222,3 mm``, ``-3/16 in``, ``42 lb``.
    kind
        What is measured.
    name
        Of the field, for the message.

    Returns
    -------
    Quantity
        With the text kept as typed.

    Raises
    ------
    InputError
        If there is no number, or no unit of this kind; a unit is never assumed.

    Examples
    --------
    >>> parse_quantity('8 3/4 in', 'length', name='brace_height').si
    0.22225
    >>> parse_quantity('8¾"', 'length', name='brace_height').si
    0.22225
    """
    units = UNITS[kind]
    plain = text.strip()
    for sign, spelled in VULGAR.items():
        plain = re.sub(rf"(?<=\d){sign}", f" {spelled}", plain).replace(sign, spelled)
    match = _NUMBER.fullmatch(plain)
    if kind == "count" and (match is None or match["unit"]):
        raise InputError("logbook.whole", field=name, found=text)
    if match is None:
        raise InputError("logbook.not_a_number", field=name, found=text, units=_named(units))
    unit = (match["unit"] or "").strip()
    unit = SPELLINGS.get(unit.lower(), unit)
    unit = next((known for known in units if known.lower() == unit.lower()), unit)
    if unit not in units:
        raise InputError("logbook.unit", field=name, found=text, units=_named(units))
    if match["over"] is not None:
        if int(match["under"]) == 0:
            raise InputError("logbook.not_a_number", field=name, found=text, units=_named(units))
        exact = Fraction(int(match["over"]), int(match["under"]))
    else:
        exact = Fraction(match["decimal"].replace(",", ".").rstrip(".") or "0")
    if match["whole"] is not None:
        exact += int(match["whole"])
    if match["sign"] in ("-", "−"):
        exact = -exact
    if kind == "count" and exact.denominator != 1:
        raise InputError("logbook.whole", field=name, found=text)
    return Quantity(typed=text, kind=kind, exact=exact, unit=unit)


def _named(units: dict[str, Fraction]) -> str:
    return ", ".join(units)


def shown(quantity: Quantity, system: UnitSystem) -> str:
    """Show a quantity in one system of units.

    Parameters
    ----------
    quantity
        As typed.
    system
        "as typed" gives the text back unchanged; the others too, where it is typed in them.

    Returns
    -------
    str
        Number and unit, converted to at most a hundredth of a usual step.

    Examples
    --------
    >>> brace = parse_quantity('8 3/4 in', 'length', name='brace_height')
    >>> shown(brace, 'metric'), shown(brace, 'imperial')
    ('222.25 mm', '8 3/4 in')
    """
    wanted = {"imperial": IMPERIAL, "metric": METRIC, "as typed": ()}[system]
    if not wanted or quantity.unit in wanted or not quantity.unit or quantity.kind == "turn":
        return quantity.typed
    unit = next(unit for unit in UNITS[quantity.kind] if unit in wanted)
    digits = {"mm": 2, "in": 3, "g": 2, "gr": 1, "lb": 1, "N": 1, "g/m": 2, "gr/in": 2}.get(unit, 1)
    return f"{quantity.in_unit(unit):.{digits}f} {unit}"
