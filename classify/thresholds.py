"""The numbers that decide what counts as a disturbance.

`thresholds.toml` goes in, a frozen settings object comes out; it refuses a number that does not
say where it is from.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, fields
from functools import cache
from importlib.resources import files


@dataclass(frozen=True, kw_only=True)
class Thresholds:
    """Limits of the labels; the meaning of each stands beside it in `thresholds.toml`.

    Attributes
    ----------
    swing_yaw_deg, swing_fast_mm, swing_wobble_mm
        Zero to peak swing from which a motion counts.
    bands_fast_low_hz, bands_fast_high_hz, bands_wobble_low_hz, bands_wobble_high_hz
        Where fast swing and wobble are looked for.
    bands_bending_low_hz
        Below this nothing is the shaft's bending.
    weights_yaw, weights_fast, weights_bending, weights_wobble
        Prior weights of the four motions.
    refusal_least_frames, refusal_least_seconds, refusal_doubt_low, refusal_doubt_high
        When there is too little, or too much doubt, to name anything.
    """

    swing_yaw_deg: float
    swing_fast_mm: float
    swing_wobble_mm: float
    bands_fast_low_hz: float
    bands_fast_high_hz: float
    bands_wobble_low_hz: float
    bands_wobble_high_hz: float
    bands_bending_low_hz: float
    weights_yaw: float
    weights_fast: float
    weights_bending: float
    weights_wobble: float
    refusal_least_frames: float
    refusal_least_seconds: float
    refusal_doubt_low: float
    refusal_doubt_high: float


def parse_thresholds(text: str) -> Thresholds:
    """Read thresholds from TOML.

    Parameters
    ----------
    text
        Tables of ``name = { value = number, from = "where it is from" }``.

    Returns
    -------
    Thresholds

    Raises
    ------
    ValueError
        If a number is missing, unknown, or silent about its origin.
    """
    numbers: dict[str, float] = {}
    for table, entries in tomllib.loads(text).items():
        if not isinstance(entries, Mapping):
            raise ValueError(f"{table} is no table")
        for name, entry in entries.items():
            if not isinstance(entry, Mapping) or not str(entry.get("from", "")).strip():
                raise ValueError(f"{table}.{name} does not say where its number is from")
            try:
                numbers[f"{table}_{name}"] = float(entry["value"])
            except (KeyError, TypeError, OverflowError) as error:
                raise ValueError(f"{table}.{name} has no number") from error
    wanted = {field.name for field in fields(Thresholds)}
    if wanted != set(numbers):
        raise ValueError(f"thresholds missing or unknown: {sorted(wanted ^ set(numbers))}")
    return Thresholds(**{name: numbers[name] for name in wanted})  # names checked just above


@cache
def shipped_thresholds() -> Thresholds:
    """Read the thresholds that travel with the package.

    Returns
    -------
    Thresholds
    """
    return parse_thresholds((files("classify") / "thresholds.toml").read_text(encoding="utf-8"))
