"""The set-up sheet: typed values go in; a checked sheet, its questions and findings come out.

Nothing is rounded and nothing overwritten: a changed sheet is a new sheet. What physics makes of
it is in `classify.setup_worked_out`.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any, Literal, cast

from classify.types import ArrowSpec
from classify.units import UNITS, Quantity, UnitKind, parse_quantity
from tracker.types import InputError, Message, message


@dataclass(frozen=True, kw_only=True)
class Field:
    """One line of the sheet.

    Attributes
    ----------
    name
        Key.
    part
        "bow", "string", "rest" or "arrow".
    kind
        What is measured, or "text" or "choice".
    unit
        In which the ranges are stated.
    sane, possible
        Ranges in `unit`: outside the first a value is questioned, outside the second refused.
    choices
        Allowed words of a choice.
    """

    name: str
    part: str
    kind: UnitKind | Literal["text", "choice"]
    unit: str = ""
    sane: tuple[float, float] | None = None
    possible: tuple[float, float] | None = None
    choices: tuple[str, ...] = ()


@cache
def sheet_fields() -> Mapping[str, Field]:
    """Read the fields of the sheet, in their order.

    Returns
    -------
    Mapping
        Field by name.
    """
    raw = _raw()
    return {
        name: Field(
            name=name,
            part=entry["part"],
            kind=entry["kind"],
            unit=entry.get("unit", ""),
            sane=_span(entry.get("sane")),
            possible=_span(entry.get("possible")),
            choices=tuple(entry.get("choices", ())),
        )
        for name, entry in raw.items()
        if name != "brace_ranges"
    }


def _span(pair: list[float] | None) -> tuple[float, float] | None:
    return None if pair is None else (pair[0], pair[1])


@cache
def _raw() -> dict[str, dict[str, Any]]:
    text = (files(__package__) / "sheet_fields.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


@dataclass(frozen=True, kw_only=True)
class SetUp:
    """A checked set-up sheet.

    Attributes
    ----------
    typed
        Every field that is filled in, as typed.
    quantities
        Those that are measured.
    """

    typed: Mapping[str, str]
    quantities: Mapping[str, Quantity]

    def si(self, name: str) -> float | None:
        """Give a measured field in SI; None where it is not filled in."""
        quantity = self.quantities.get(name)
        return None if quantity is None else quantity.si

    def with_changes(self, changes: Mapping[str, str]) -> SetUp:
        """Make a new sheet in which some fields differ; an empty text clears a field."""
        return fill_sheet({**self.typed, **changes})


def fill_sheet(typed: Mapping[str, str]) -> SetUp:
    """Check a sheet as it was typed.

    Parameters
    ----------
    typed
        Text by field; empty texts count as not filled in.

    Returns
    -------
    SetUp
        With every text kept as typed.

    Raises
    ------
    InputError
        If a field is unknown, a number cannot be read, lacks its unit or cannot be.

    Examples
    --------
    >>> sheet = fill_sheet({"draw_weight": "38 lb", "arrow_length": "28 1/2 in"})
    >>> sheet.typed["arrow_length"], round(sheet.si("arrow_length"), 4)
    ('28 1/2 in', 0.7239)
    """
    fields = sheet_fields()
    kept: dict[str, str] = {}
    quantities: dict[str, Quantity] = {}
    for name, text in typed.items():
        if name not in fields:
            raise InputError("logbook.unknown_field", field=name, known=", ".join(fields))
        if not text.strip():
            continue
        kept[name] = text
        field = fields[name]
        if field.kind == "choice":
            if text not in field.choices:
                raise InputError(
                    "logbook.choice",
                    field=_plain(name),
                    found=text,
                    choices=", ".join(field.choices),
                )
        elif field.kind != "text":
            quantities[name] = _measured(field, field.kind, text)
    sheet = SetUp(typed=kept, quantities=quantities)
    _check_together(sheet)
    return sheet


def _measured(field: Field, kind: UnitKind, text: str) -> Quantity:
    quantity = parse_quantity(text, kind, name=_plain(field.name))
    value = quantity.in_unit(field.unit)
    low, high = cast("tuple[float, float]", field.possible)
    if not low <= value <= high:
        raise InputError(
            "logbook.impossible",
            field=_plain(field.name), found=text, low=low, high=high, unit=field.unit,
        )  # fmt: skip
    return quantity


def _plain(name: str) -> str:
    return name.replace("_", " ")


def _check_together(sheet: SetUp) -> None:
    """Refuse what no arrow can be, field against field."""
    length, balance = sheet.si("arrow_length"), sheet.si("balance_point")
    if length is not None and balance is not None and balance >= length:
        raise InputError(
            "logbook.balance_outside",
            balance=sheet.typed["balance_point"], length=sheet.typed["arrow_length"],
        )  # fmt: skip


def questions(sheet: SetUp) -> tuple[Message, ...]:
    """List the values that are possible but outside any usual range.

    Parameters
    ----------
    sheet
        Checked.

    Returns
    -------
    tuple of Message
        One for each; they stop nothing.
    """
    asked = []
    fields = sheet_fields()
    for name, quantity in sheet.quantities.items():
        field = fields[name]
        low, high = cast("tuple[float, float]", field.sane)
        if not low <= quantity.in_unit(field.unit) <= high:
            asked.append(
                message(
                    "logbook.questioned",
                    field=_plain(name), found=quantity.typed, low=low, high=high, unit=field.unit,
                )
            )  # fmt: skip
    spine = sheet.typed.get("spine")
    if spine is not None and "shaft" not in sheet.typed:
        asked.append(message("logbook.shaft_unnamed", spine=spine))
    return tuple(asked)


def differences(before: SetUp, after: SetUp) -> tuple[tuple[str, str, str], ...]:
    """List what changed between two versions of a sheet.

    Parameters
    ----------
    before, after
        Checked sheets.

    Returns
    -------
    tuple of (field, from, to)
        As typed; "" where not filled in.
    """
    return tuple(
        (name, before.typed.get(name, ""), after.typed.get(name, ""))
        for name in sheet_fields()
        if before.typed.get(name, "") != after.typed.get(name, "")
    )


def arrow_spec(sheet: SetUp) -> ArrowSpec:
    """Take the arrow from a sheet, in SI.

    Parameters
    ----------
    sheet
        Checked.

    Returns
    -------
    ArrowSpec
        The point includes the insert; None where the sheet does not know.
    """
    point, insert = sheet.si("point_mass"), sheet.si("insert_mass")
    vanes = sheet.si("vanes")
    return ArrowSpec(
        spine=sheet.si("spine"),
        length_m=sheet.si("arrow_length"),
        shaft_kg_per_m=sheet.si("shaft_mass_per_length"),
        point_kg=None if point is None else point + (insert or 0.0),
        nock_kg=sheet.si("nock_mass"),
        fletching_kg=sheet.si("fletching_mass"),
        diameter_m=sheet.si("shaft_diameter"),
        vanes=None if vanes is None else round(vanes),
        vane_length_m=sheet.si("vane_length"),
        vane_height_m=sheet.si("vane_height"),
        vane_from_nock_m=sheet.si("vane_from_nock"),
        balance_m=sheet.si("balance_point"),
    )


def brace_range_in(bow_length_in: float) -> tuple[float, float] | None:
    """Usual brace height for a bow length, both in inches.

    Parameters
    ----------
    bow_length_in
        66, 68 or 70, give or take half an inch.

    Returns
    -------
    tuple of float, or None
        Lowest and highest; None for other lengths, for which no source was read.
    """
    for length, span in cast("dict[str, dict[str, float]]", _raw()["brace_ranges"]).items():
        if abs(float(length) - bow_length_in) <= 0.5:
            return span["low"], span["high"]
    return None


def sheet_findings(sheet: SetUp, *, foc_percent: float | None) -> tuple[str, ...]:
    """Name the findings that a sheet shows by itself.

    Parameters
    ----------
    sheet
        Checked.
    foc_percent
        Worked out; None if it cannot be.

    Returns
    -------
    tuple of str
        Names in the knowledge file.
    """
    found = []
    brace, bow = sheet.quantities.get("brace_height"), sheet.quantities.get("bow_length")
    if brace is not None and bow is not None:
        span = brace_range_in(bow.in_unit("in"))
        if span is not None and brace.in_unit("in") < span[0]:
            found.append("brace_low")
        if span is not None and brace.in_unit("in") > span[1]:
            found.append("brace_high")
    if sheet.typed.get("nock_fit") == "tight":
        found.append("nock_tight")
    if foc_percent is not None and foc_percent < 10.0:
        found.append("foc_low")
    if foc_percent is not None and foc_percent > 18.0:
        found.append("foc_high")
    return tuple(found)


def unit_choices(field: Field) -> tuple[str, ...]:
    """Units in which a field can be typed."""
    if field.kind in ("text", "choice"):
        return ()
    return tuple(UNITS[cast("UnitKind", field.kind)])
