"""The swing that gave a reading its label, for tables of many readings."""

from __future__ import annotations

from classify.label import disturbances_found
from classify.types import Disturbance, ModeLine, Reading

KIND_OF = {"fishtailing": "yaw", "minnowing": "fast", "porpoising": "yaw"}
AXIS_OF = {"fishtailing": "across", "minnowing": "across", "porpoising": "up_down"}


def leading_swing(reading: Reading) -> ModeLine | None:
    """Find the swing that gave the label.

    Parameters
    ----------
    reading
        What was read.

    Returns
    -------
    ModeLine or None
        None for a refusal and for a clean flight.
    """
    return next(iter(swings_found(reading)), None)


def swings_found(reading: Reading) -> tuple[ModeLine | None, ...]:
    """Find the swing of each disturbance that is there.

    Parameters
    ----------
    reading
        What was read.

    Returns
    -------
    tuple of ModeLine or None
        In the order of `disturbances_found`; None where the fit lists no such swing.
    """
    return tuple(
        _swing_of(reading, name) for name in disturbances_found(reading.label, reading.presence)
    )


def _swing_of(reading: Reading, name: Disturbance) -> ModeLine | None:
    modes = reading.across if AXIS_OF[name] == "across" else reading.up_down
    return next((mode for mode in modes if mode.kind == KIND_OF[name]), None)
