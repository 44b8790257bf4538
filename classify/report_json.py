"""The reading as one JSON object, whose names and meanings are kept stable.

A reading goes in, plain dictionaries, lists, numbers and sentences come out; it computes nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from math import isfinite

from classify.types import ModeLine, Reading
from tracker.types import Message

Json = str | int | float | bool | None | list["Json"] | dict[str, "Json"]


def reading_json(reading: Reading, say: Callable[[Message], str]) -> dict[str, Json]:
    """Turn a reading into the object that ``tailsway read --json`` prints.

    Parameters
    ----------
    reading
        The reading.
    say
        Turns a message into a sentence of the wanted language.

    Returns
    -------
    dict
        The fields are described in README; numbers that are not finite become null.
    """
    scale = reading.scale
    return {
        "label": reading.label,
        "presence": {name: _number(value) for name, value in reading.presence.items()},
        "refused": None if reading.refused is None else say(reading.refused),
        "reasons": [say(reason) for reason in reading.reasons],
        "across": [_mode_json(line) for line in reading.across],
        "up_down": [_mode_json(line) for line in reading.up_down],
        "clean_below_mm": None
        if reading.clean_below_mm is None
        else {"across": reading.clean_below_mm[0], "up_down": reading.clean_below_mm[1]},
        "unseen_below_mm": dict(
            zip(("across", "up_down"), map(_number, reading.unseen_below_mm), strict=True)
        ),
        "clip": _plain(reading.clip_facts),
        "flight": _plain(reading.flight_facts),
        "scale": {
            "mm_per_px_at_release": None
            if scale is None
            else _number(scale.mm_per_px_at_release.value),
            "mm_per_px_at_release_sigma": None
            if scale is None
            else _number(scale.mm_per_px_at_release.sigma),
            "from": None if scale is None else scale.from_,
        },
        "causes": [
            {
                "name": cause.name,
                "title": cause.title,
                "why": cause.why,
                "first_change": cause.first_change,
                "caution": cause.caution,
                "source": cause.source,
            }
            for cause in reading.causes
        ],
        "notes": [say(note) for note in reading.notes],
        "version": reading.version,
    }


def _mode_json(line: ModeLine) -> dict[str, Json]:
    return {
        "kind": line.kind,
        "frequency_hz": _number(line.frequency_hz),
        "frequency_sigma_hz": _number(line.frequency_sigma_hz),
        "swing_mm": _number(line.swing_mm),
        "swing_sigma_mm": _number(line.swing_sigma_mm),
        "swing_deg": _number(line.swing_deg),
        "damping_ratio": _number(line.damping_ratio),
        "expected_hz": None if line.expected_hz is None else _number(line.expected_hz.value),
    }


def _number(value: float | None) -> float | None:
    return None if value is None or not isfinite(value) else float(value)


def _plain(facts: Mapping[str, object]) -> dict[str, Json]:
    """Keep text and whole numbers as they are; other numbers become finite floats or null."""
    plain: dict[str, Json] = {}
    for name, value in facts.items():
        if value is None or isinstance(value, str | bool | int):
            plain[name] = value
        else:
            plain[name] = _number(float(value))  # type: ignore[arg-type]
    return plain
