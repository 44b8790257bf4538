"""Points on a still picture: shows a frame, gives back where the coach clicked, in its pixels."""

from __future__ import annotations

import hashlib
from base64 import b64encode
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

import streamlit as st
from streamlit.components.v2.types import ComponentRenderer

from ui.dash_words import Words


@dataclass(frozen=True, kw_only=True)
class Still:
    """One frame to click on.

    Attributes
    ----------
    frame
        Its number.
    jpeg
        The picture.
    width, height
        Of the film's frame, in pixels.
    nock_px
        x and y where the tool sees the nock in it; None where it sees none, or none is asked for.
    """

    frame: int
    jpeg: bytes
    width: int
    height: int
    nock_px: tuple[float, float] | None = None


@dataclass(frozen=True, kw_only=True)
class OnFace:
    """What is different on a drawn target face, which has nothing small to find.

    Attributes
    ----------
    widest_px
        Of the picture on the page, so that it stays inside a window.
    marked
        x and y of the points that were sent before.
    counted
        What to say with no point set, with one, and so on, instead of pixels.
    """

    widest_px: int
    marked: tuple[tuple[float, float], ...]
    counted: tuple[str, ...]


@cache
def _component() -> ComponentRenderer:
    here = files("ui")
    return st.components.v2.component(
        "tailsway_picker",
        html='<div class="picker"></div>',
        css=(here / "picker.css").read_text("utf-8"),
        js=(here / "picker.js").read_text("utf-8"),
    )


def pick_points(
    key: str,
    still: Still,
    *,
    points: int,
    send: str,
    word: Words,
    picked: Callable[[int, list[float]], None],
    says: str = "",
    face: OnFace | None = None,
) -> None:
    """Show a frame and wait for clicks.

    Parameters
    ----------
    key
        Of the widget.
    still
        The frame.
    points
        How many to ask for.
    send
        What the button says.
    word
        The page's language.
    picked
        Called with the frame's number and x and y of each point, in pixels of the film, when the
        coach sends them, before the page is drawn anew.
    says
        What to say below it of the place where the tool sees the nock.
    face
        Given for a drawn target face.
    """
    marked = () if face is None else face.marked
    digest = hashlib.sha256(still.jpeg).hexdigest()[:12]
    data = {
        "id": f"{digest}-{still.frame}-{points}-{still.nock_px}-{word.language}-{marked}",
        "jpeg": b64encode(still.jpeg).decode("ascii"),
        "width": still.width,
        "height": still.height,
        "frame": still.frame,
        "points": points,
        "marked": [list(point) for point in marked],
        "widest": None if face is None else face.widest_px,
        "believed": None if still.nock_px is None else list(still.nock_px),
        "words": {
            "stage": word("pages.pick_stage"),
            "alt": word("pages.pick_alt", frame=still.frame)
            if face is None
            else word("rounds.shots_alt"),
            "hint": word("pages.pick_hint", points=points),
            "send": send,
            "believed": says,
            "counted": None if face is None else list(face.counted),
        },
    }

    def take() -> None:
        sent = st.session_state[key].get("picked")
        if not sent:
            return
        flat = [float(value) for point in sent["points"] for value in point]
        if len(flat) == 2 * points:
            # the frame that was clicked on, though another may have been chosen since
            picked(int(sent["frame"]), flat)

    _component()(key=key, data=data, on_picked_change=take)
