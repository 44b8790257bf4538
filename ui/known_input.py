"""Turns what a coach typed into `Known`, in SI; refuses numbers that no range could hold.

It takes text (an option of the command, a field of a page) and knows nothing of films. An empty
text means that nobody said, and stays None: nothing is filled in.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import cast

from classify.types import ArrowSpec, FaceMark, Hand, Known
from tracker.types import Click, InputError


@dataclass(frozen=True, kw_only=True)
class Quantity:
    """How one number is typed.

    Attributes
    ----------
    lowest, highest
        In the unit that the coach types; outside it the number is a slip of the finger.
    unit
        As the sentences name it.
    to_si
        Factor from that unit to SI.
    """

    lowest: float
    highest: float
    unit: str
    to_si: float = 1.0


# Chosen here: wide enough for any phone, bow and range, narrow enough to catch a slip of the
# finger or a wrong unit (58 cm typed as metres, a speed in feet per second).
QUANTITIES: Mapping[str, Quantity] = {
    "distance_m": Quantity(lowest=2, highest=150, unit="m"),
    "camera_distance_m": Quantity(lowest=0.2, highest=30, unit="m"),
    "speed_m_s": Quantity(lowest=15, highest=120, unit="m/s"),
    "face_cm": Quantity(lowest=5, highest=200, unit="cm", to_si=0.01),
    "focal_px": Quantity(lowest=100, highest=100_000, unit="px"),
    "field_of_view_deg": Quantity(lowest=1, highest=150, unit="°"),
    "nock_mm": Quantity(lowest=2, highest=20, unit="mm", to_si=0.001),
}

WHOLE = re.compile(r"[0-9]{1,9}")
RATE = re.compile(r"[0-9]{1,12}(\.[0-9]{0,12}|/[0-9]{1,12})?")
"""No longer than anybody types: a number of countless digits takes countless time to make."""

RATE_UNIT = re.compile(r"(hz|fps)$", re.IGNORECASE)

CAPTURE_HZ = Quantity(lowest=10, highest=20_000, unit="Hz")


def parse_known(
    typed: Mapping[str, str],
    *,
    arrow: ArrowSpec | None = None,
) -> Known:
    """Make a `Known` from texts.

    Parameters
    ----------
    typed
        Text by name: the keys of `QUANTITIES`, and ``capture_hz``, ``face_mark``, ``hand``,
        ``click``, ``flight`` (the first flight of a clip is 1), ``first_frame``, ``last_frame``
        (frames count from 0). Missing or blank: nobody said.
    arrow
        The arrow, if its set-up sheet is known.

    Returns
    -------
    Known
        In SI units.

    Raises
    ------
    InputError
        If a text is no number, a number is out of all reason, or two texts say the same thing.

    Examples
    --------
    >>> parse_known({"face_cm": "40", "distance_m": "18"}).face_diameter_m
    0.4
    >>> parse_known({"distance_m": "18,5 m"}).distance_m
    18.5
    """
    said = {name: text.strip() for name, text in typed.items() if text.strip()}
    numbers = {
        name: parse_number(name, said[name], quantity)
        for name, quantity in QUANTITIES.items()
        if name in said
    }
    if "focal_px" in numbers and "field_of_view_deg" in numbers:
        raise InputError("command.focal_twice")
    return Known(
        capture_hz=parse_capture_hz(said["capture_hz"]) if "capture_hz" in said else None,
        distance_m=numbers.get("distance_m"),
        camera_distance_m=numbers.get("camera_distance_m"),
        speed_m_s=numbers.get("speed_m_s"),
        face_diameter_m=numbers.get("face_cm"),
        face_mark=parse_face_mark(said["face_mark"]) if "face_mark" in said else None,
        focal_px=numbers.get("focal_px"),
        field_of_view_deg=numbers.get("field_of_view_deg"),
        nock_diameter_m=numbers.get("nock_mm"),
        hand=parse_hand(said["hand"]) if "hand" in said else None,
        click=parse_click(said["click"]) if "click" in said else None,
        arrow=arrow,
        flight=parse_flight(said["flight"]) if "flight" in said else 0,
        first_frame=parse_frame(said["first_frame"]) if "first_frame" in said else None,
        last_frame=parse_frame(said["last_frame"]) if "last_frame" in said else None,
    )


def decimal(text: str) -> float:
    """Read a number written with a point or a comma.

    Parameters
    ----------
    text
        As typed.

    Returns
    -------
    float
        May be infinite or not a number, as Python reads them.

    Raises
    ------
    ValueError
        If it is none.
    """
    return float(text.strip().replace(",", "."))


def parse_number(name: str, text: str, quantity: Quantity) -> float:
    """Read one number, in SI.

    Parameters
    ----------
    name
        As it was typed, for the message.
    text
        A number with a point or a comma, the unit behind it or not.
    quantity
        Its unit and bounds.

    Returns
    -------
    float
        In SI units.

    Raises
    ------
    InputError
        If it is no number or out of bounds.
    """
    bare = text.strip().removesuffix(quantity.unit).rstrip()
    try:
        value = decimal(bare)
    except ValueError:
        raise InputError(
            "command.not_a_number", entry=name, text=text, unit=quantity.unit
        ) from None
    if not math.isfinite(value) or not quantity.lowest <= value <= quantity.highest:
        raise InputError(
            "command.out_of_bounds",
            entry=name,
            text=bare,
            lowest=quantity.lowest,
            highest=quantity.highest,
            unit=quantity.unit,
        )
    return value * quantity.to_si


def parse_capture_hz(text: str, *, entry: str = "capture_hz") -> Fraction:
    """Read a rate as a whole number, a decimal or a fraction, exactly.

    Parameters
    ----------
    text
        ``240``, ``239.98`` or ``30000/1001``, with ``Hz`` or ``fps`` behind it or not.
    entry
        As it was typed, for the message.

    Returns
    -------
    fractions.Fraction
        Frames a second.

    Raises
    ------
    InputError
        If it is none of these, or no camera runs at that rate.

    Examples
    --------
    >>> parse_capture_hz("30000/1001")
    Fraction(30000, 1001)
    """
    plain = RATE_UNIT.sub("", text.replace(",", ".").replace(" ", ""))
    if not RATE.fullmatch(plain):
        raise InputError("command.not_a_rate", text=text)
    try:
        rate = Fraction(plain)
    except ZeroDivisionError:
        raise InputError("command.not_a_rate", text=text) from None
    if not CAPTURE_HZ.lowest <= rate <= CAPTURE_HZ.highest:
        raise InputError(
            "command.out_of_bounds",
            entry=entry,
            text=plain,
            lowest=CAPTURE_HZ.lowest,
            highest=CAPTURE_HZ.highest,
            unit=CAPTURE_HZ.unit,
        )
    return rate


def parse_hand(text: str) -> Hand:
    """Read the archer's hand; a right-handed archer draws with the right.

    Parameters
    ----------
    text
        ``right`` or ``left``.

    Returns
    -------
    Hand
        The same.

    Raises
    ------
    InputError
        If it is neither.
    """
    if text not in ("right", "left"):
        raise InputError("command.not_a_hand", text=text)
    return cast(Hand, text)


def parse_click(text: str) -> Click:
    """Read ``FRAME,X,Y``: where the nock is in one frame.

    Parameters
    ----------
    text
        A frame number from 0 and a place in pixels of the upright picture.

    Returns
    -------
    Click
        The same.

    Raises
    ------
    InputError
        If it is not three numbers of that kind.
    """
    numbers = _numbers(text, 3)
    if numbers is None:
        raise InputError("command.not_a_click", text=text)
    return Click(frame=int(numbers[0]), x_px=numbers[1], y_px=numbers[2])


def parse_face_mark(text: str) -> FaceMark:
    """Read ``FRAME,X1,Y1,X2,Y2``: two opposite edges of the target face.

    Parameters
    ----------
    text
        A frame number from 0 and two places in pixels.

    Returns
    -------
    FaceMark
        The same.

    Raises
    ------
    InputError
        If it is not five numbers of that kind, or the two places are the same.
    """
    numbers = _numbers(text, 5)
    if numbers is None or numbers[1:3] == numbers[3:5]:
        raise InputError("command.not_a_face_mark", text=text)
    frame, x1, y1, x2, y2 = numbers
    return FaceMark(frame=int(frame), x1_px=x1, y1_px=y1, x2_px=x2, y2_px=y2)


def parse_flight(text: str) -> int:
    """Read which flight of a clip to read; people count from 1, `Known.flight` from 0.

    Parameters
    ----------
    text
        A whole number from 1.

    Returns
    -------
    int
        From 0.

    Raises
    ------
    InputError
        If it is none.
    """
    if not WHOLE.fullmatch(text) or int(text) < 1:
        raise InputError("command.not_a_flight", text=text)
    return int(text) - 1


def parse_frame(text: str) -> int:
    """Read a frame number.

    Parameters
    ----------
    text
        A whole number from 0.

    Returns
    -------
    int
        The same.

    Raises
    ------
    InputError
        If it is none.
    """
    if not WHOLE.fullmatch(text):
        raise InputError("command.not_a_frame", text=text)
    return int(text)


def _numbers(text: str, count: int) -> list[float] | None:
    """Read `count` finite numbers, the first a frame number, all at or above 0; None if not."""
    try:
        numbers = [float(part) for part in text.split(",")]
    except ValueError:
        return None
    fits = len(numbers) == count and all(math.isfinite(n) and n >= 0 for n in numbers)
    return numbers if fits and numbers[0].is_integer() else None
