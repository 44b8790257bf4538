"""The swing that gave a reading its label, for tables of many readings."""

from __future__ import annotations

from classify.types import ModeLine, Reading

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
    if reading.label is None or reading.label == "clean":
        return None
    modes = reading.across if AXIS_OF[reading.label] == "across" else reading.up_down
    return next((mode for mode in modes if mode.kind == KIND_OF[reading.label]), None)
