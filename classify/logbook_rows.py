"""Rows of the logbook that came from elsewhere: a row goes in; it passes, or is refused.

Used by what reads zip files and by what rescues a damaged file: neither may let in what the rest of
the program could not read.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Callable, Mapping
from datetime import date
from typing import Any

from classify.evidence_payload import check_payload
from classify.setup_sheet import fill_sheet
from tracker.types import InputError

FILE = re.compile(r"(?P<sha256>[0-9a-f]{64})(\.(?!json|part)[a-z0-9]{1,8})?")
"""What a clip's file in the store can be called; ``.json`` is the card beside it."""

DELETABLE = ("archers", "setups", "evidence", "decisions")


def check_row(table: str, row: Mapping[str, Any]) -> None:
    """Refuse a row whose content the rest of the program could not read.

    Parameters
    ----------
    table
        Its table.
    row
        Value by column; the columns are those of the table.

    Raises
    ------
    InputError
        If a value cannot be kept or read.
    """
    try:
        for value in row.values():
            _check_value(value)
        if table in _CHECKS:
            _CHECKS[table](row)
    except (AttributeError, KeyError, TypeError, ValueError, RecursionError) as error:
        raise InputError("logbook.does_not_fit", reason=f"{table}: {error!r}"[:200]) from None


def _check_value(value: object) -> None:
    """Take what SQLite can keep and give back alike: no endless number, no half a character."""
    if isinstance(value, bool) or not isinstance(value, str | int | float | None):
        raise TypeError("a value of another kind")
    if isinstance(value, str):
        value.encode("utf-8")
    elif isinstance(value, int) and not -(2**63) <= value < 2**63:
        raise ValueError("a number beyond 64 bits")
    elif isinstance(value, float) and not math.isfinite(value):
        raise ValueError("no finite number")


def _check_named(row: Mapping[str, Any]) -> None:
    if not row["name"].strip():
        raise ValueError("an empty name")


def _check_version(row: Mapping[str, Any]) -> None:
    date.fromisoformat(row["dated"])
    fill_sheet(json.loads(row["typed_json"]))


def _check_clip(row: Mapping[str, Any]) -> None:
    match = FILE.fullmatch(row["file"])
    if match is None or match["sha256"] != row["sha256"]:
        raise ValueError(row["file"][:80])


def _check_evidence(row: Mapping[str, Any]) -> None:
    date.fromisoformat(row["dated"])
    check_payload(row["kind"], json.loads(row["payload_json"]))


def _check_decision(row: Mapping[str, Any]) -> None:
    date.fromisoformat(row["dated"])
    dict(json.loads(row["proposal_json"]))


def _check_history(row: Mapping[str, Any]) -> None:
    dict(json.loads(row["before_json"]))


def _check_deletion(row: Mapping[str, Any]) -> None:
    if row["of_table"] not in DELETABLE:
        raise ValueError(row["of_table"])


_CHECKS: Mapping[str, Callable[[Mapping[str, Any]], None]] = {
    "archers": _check_named,
    "setups": _check_named,
    "versions": _check_version,
    "clips": _check_clip,
    "evidence": _check_evidence,
    "decisions": _check_decision,
    "history": _check_history,
    "deletions": _check_deletion,
}
