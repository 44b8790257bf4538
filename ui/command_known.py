"""The options for what the coach knows, alike for every command that reads a film."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TypeVar

import click

from classify.types import Known
from tracker.types import InputError
from ui.arrow_input import read_arrow_file
from ui.command_words import help_words
from ui.known_input import parse_known

_Wrapped = TypeVar("_Wrapped", bound=Callable[..., object])

# Name of the option and what stands for its value in the help.
_OPTIONS: Mapping[str, str] = {
    "capture_hz": "HZ",
    "distance_m": "M",
    "camera_distance_m": "M",
    "speed_m_s": "M/S",
    "face_cm": "CM",
    "face_mark": "FRAME,X1,Y1,X2,Y2",
    "focal_px": "PX",
    "field_of_view_deg": "DEG",
    "nock_mm": "MM",
    "hand": "right|left",
    "click": "FRAME,X,Y",
    "flight": "N",
    "first_frame": "FRAME",
    "last_frame": "FRAME",
    "arrow": "FILE",
}


def known_options(command: _Wrapped) -> _Wrapped:
    """Give a command the options for what the coach knows.

    Parameters
    ----------
    command
        A function about to become a command; it gets the texts by name.

    Returns
    -------
    Callable
        The same with the options, ``--capture-hz`` first.
    """
    for name, metavar in reversed(list(_OPTIONS.items())):
        flag = f"--{name.replace('_', '-')}"
        command = click.option(flag, name, metavar=metavar, help=help_words(f"help_{name}"))(
            command
        )
    return command


def known_from(typed: Mapping[str, str | None]) -> Known:
    """Turn the texts of the options into what is known.

    Parameters
    ----------
    typed
        By name; None where the option was left out.

    Returns
    -------
    Known
        In SI.

    Raises
    ------
    InputError
        If one of them makes no sense.
    """
    said = {name: text or "" for name, text in typed.items() if name in _OPTIONS}
    if said.get("face_mark") and not said.get("face_cm"):
        raise InputError("command.face_mark_alone")
    file = said.pop("arrow", "")
    arrow = read_arrow_file(Path(file)) if file else None
    return parse_known(said, arrow=arrow)
