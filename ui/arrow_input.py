"""An arrow's measures as a coach types them, in a file or a form, turned into `ArrowSpec` in SI."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from pathlib import Path

from classify.types import ArrowSpec
from tracker.types import InputError
from ui.known_input import Quantity, parse_number

# Key in an arrow file: field of ArrowSpec and how it is typed. Bounds chosen here, as above.
ARROW_KEYS: Mapping[str, tuple[str, Quantity]] = {
    "spine": ("spine", Quantity(lowest=150, highest=2500, unit="1/1000 in")),
    "length_mm": ("length_m", Quantity(lowest=400, highest=1000, unit="mm", to_si=0.001)),
    "shaft_g_per_m": (
        "shaft_kg_per_m",
        Quantity(lowest=5, highest=60, unit="g/m", to_si=0.001),
    ),
    "point_g": ("point_kg", Quantity(lowest=1, highest=40, unit="g", to_si=0.001)),
    "nock_g": ("nock_kg", Quantity(lowest=0.1, highest=5, unit="g", to_si=0.001)),
    "fletching_g": ("fletching_kg", Quantity(lowest=0, highest=10, unit="g", to_si=0.001)),
    "diameter_mm": ("diameter_m", Quantity(lowest=2, highest=15, unit="mm", to_si=0.001)),
    "vanes": ("vanes", Quantity(lowest=0, highest=8, unit="vanes")),
    "vane_length_mm": ("vane_length_m", Quantity(lowest=5, highest=150, unit="mm", to_si=0.001)),
    "vane_height_mm": ("vane_height_m", Quantity(lowest=2, highest=30, unit="mm", to_si=0.001)),
    "vane_from_nock_mm": (
        "vane_from_nock_m",
        Quantity(lowest=5, highest=200, unit="mm", to_si=0.001),
    ),
    "balance_mm": ("balance_m", Quantity(lowest=200, highest=900, unit="mm", to_si=0.001)),
}


def read_arrow_file(path: Path) -> ArrowSpec:
    """Read an arrow's measures from a TOML file with the keys of `ARROW_KEYS`.

    Parameters
    ----------
    path
        Of the file, for example ``spine = 600`` and ``length_mm = 724`` on lines of their own.

    Returns
    -------
    ArrowSpec
        In SI; None for what the file does not say.

    Raises
    ------
    InputError
        If the file cannot be read, has an unknown key, or a value out of all reason.
    """
    try:
        typed = tomllib.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise InputError("command.no_arrow_file", path=str(path)) from None
    except UnicodeDecodeError:
        raise InputError("command.arrow_file_no_text", path=str(path)) from None
    except OSError as mistake:
        reason = mistake.strerror or type(mistake).__name__
        raise InputError("command.arrow_file", path=str(path), reason=reason) from None
    except tomllib.TOMLDecodeError as mistake:
        raise InputError("command.arrow_file", path=str(path), reason=str(mistake)) from None
    return parse_arrow({key: str(value) for key, value in typed.items()})


def parse_arrow(typed: Mapping[str, str]) -> ArrowSpec:
    """Make an `ArrowSpec` from texts with the keys of `ARROW_KEYS`.

    Parameters
    ----------
    typed
        Text by key; blank means that nobody said.

    Returns
    -------
    ArrowSpec
        In SI.

    Raises
    ------
    InputError
        If a key is unknown or a value out of all reason.

    Examples
    --------
    >>> parse_arrow({"spine": "600", "length_mm": "724"}).length_m
    0.724
    """
    unknown = sorted(set(typed) - set(ARROW_KEYS))
    if unknown:
        raise InputError("command.arrow_key", key=unknown[0], known=", ".join(ARROW_KEYS))
    values = {
        ARROW_KEYS[key][0]: parse_number(key, text, ARROW_KEYS[key][1])
        for key, text in typed.items()
        if text.strip()
    }
    vanes = values.pop("vanes", None)
    if vanes is not None and not vanes.is_integer():
        raise InputError("command.not_a_number", entry="vanes", text=typed["vanes"], unit="vanes")
    return ArrowSpec(vanes=None if vanes is None else int(vanes), **values)
