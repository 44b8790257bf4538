"""The form for a bare-shaft test: impacts are clicked on a drawn face and kept in metres.

Clicks are held as shares of the face, so that they stay where they were clicked whatever the face's
size is said to be; only what is kept is in metres.
"""

from __future__ import annotations

from functools import cache, partial
from html import escape

import cv2
import numpy as np
import streamlit as st

from tracker.types import InputError
from ui.entries import show_trouble
from ui.number_field import CROSSWIND_M_S, DISTANCE_M, FACE_CM, every_number
from ui.picker import OnFace, Still, pick_points
from ui.rounding import signed_cm
from ui.rounds_part import AtHand, day_field, form_entering, form_key, keep_seen

FACE_PX = 800
_SHARE_PX = 0.8 * FACE_PX
_MIDDLE_PX = (FACE_PX - 1) / 2
_MOST_SHOTS = 12
_TALLEST_PX = 420
"""On the page; with its heading and its button it fits a laptop's window. Chosen here."""


def bare_form(at: AtHand) -> None:
    """Draw the form.

    Parameters
    ----------
    at
        The case.
    """
    word = at.word
    columns = st.columns(4)
    DISTANCE_M.draw(columns[0], at.key("bare-distance"), word, persistent=True)
    FACE_CM.draw(columns[1], at.key("bare-face"), word, persistent=True)
    CROSSWIND_M_S.draw(columns[2], form_key(at, "bare", "wind"), word)
    with columns[3]:
        day_field(word("rounds.day"), form_key(at, "bare", "day"))
    st.html(f'<p class="ts-note">{escape(word("rounds.shots_help"))}</p>')
    try:
        face_cm = FACE_CM.number(at.key("bare-face"), word)
    except InputError as mistake:
        st.error(word.safe(mistake.message))
        face_cm = None  # what was clicked stays, and is told once the face is known
    left, right = st.columns(2)
    with left:
        bare = _shots(at, "bare", face_cm)
    with right:
        fletched = _shots(at, "fletched", face_cm)
    if not (bare and fletched):
        st.html(f'<p class="ts-note">{escape(word("rounds.shots_both"))}</p>')
    else:
        # The clicks are let go only once they are kept: a logbook in use must not cost them.
        keep = form_entering(at, "bare", lambda: _keep(at))
        st.button(word("rounds.keep_bare"), type="primary", on_click=keep)
    show_trouble(at.key("bare"), word)


def _keep(at: AtHand) -> None:
    numbers = every_number(
        [
            partial(DISTANCE_M.number, at.key("bare-distance"), at.word),
            partial(FACE_CM.number, at.key("bare-face"), at.word),
            partial(CROSSWIND_M_S.number, form_key(at, "bare", "wind"), at.word),
        ]
    )
    distance_m, face_cm = (number for number in numbers[:2] if number is not None)
    bare, fletched = (
        _in_metres(st.session_state[form_key(at, "bare", f"shots-{name}")], face_cm)
        for name in ("bare", "fletched")
    )
    payload: dict[str, object] = {
        "distance_m": distance_m,
        "bare_m": bare,
        "fletched_m": fletched,
        "crosswind_m_s": numbers[2],
    }
    keep_seen(at, "bare", payload)


def _in_metres(shares: list[list[float]], face_cm: float) -> list[list[float]]:
    """Give clicks in metres right and up of the face's middle."""
    return [[share * face_cm / 100.0 for share in pair] for pair in shares]


def _shots(at: AtHand, name: str, face_cm: float | None) -> list[list[float]]:
    """Take impacts by clicks on a drawn face, as shares of it right and up of its middle."""
    word, key = at.word, form_key(at, "bare", f"shots-{name}")
    shares: list[list[float]] = st.session_state.setdefault(key, [])

    def take(_count: int, picked: list[float]) -> None:
        st.session_state[key] = [
            [(x - _MIDDLE_PX) / _SHARE_PX, (_MIDDLE_PX - y) / _SHARE_PX]
            for x, y in zip(picked[::2], picked[1::2], strict=True)
        ]

    st.html(f"<h3>{escape(word(f'rounds.shots_{name}', count=len(shares)))}</h3>")
    count = st.selectbox(
        word("rounds.shots_count"), range(1, _MOST_SHOTS + 1), 2,
        key=form_key(at, "bare", f"count-{name}"), width=200, persist_state="session",
    )  # fmt: skip
    still = Still(frame=count, jpeg=face_picture(), width=FACE_PX, height=FACE_PX)
    pick_points(
        form_key(at, "bare", f"pick-{name}"), still, points=count, send=word("rounds.shots_send"),
        word=word, picked=take, face=_on_face(shares, count, at),
    )  # fmt: skip
    if shares and face_cm is not None:
        shots = _in_metres(shares, face_cm)
        listed = ", ".join(f"({signed_cm(x)}, {signed_cm(y)})" for x, y in shots)
        st.write(word("rounds.shots_kept", listed=listed))
    return shares


def _on_face(shares: list[list[float]], count: int, at: AtHand) -> OnFace:
    """Say where arrows were clicked already, and how many are set, instead of pixels."""
    marked = tuple((_MIDDLE_PX + x * _SHARE_PX, _MIDDLE_PX - y * _SHARE_PX) for x, y in shares)
    return OnFace(
        widest_px=_TALLEST_PX,
        marked=marked if len(marked) <= count else (),
        counted=tuple(
            at.word("rounds.shots_set", number=number, points=count) for number in range(count + 1)
        ),
    )


@cache
def face_picture() -> bytes:
    """Draw a target face that takes 80 % of the picture, so that misses have room.

    Returns
    -------
    bytes
        JPEG, `FACE_PX` wide and high; ten equal zones, colours from white outside to gold inside.
    """
    picture = np.full((FACE_PX, FACE_PX, 3), 225, np.uint8)
    middle = FACE_PX // 2
    # Blue, green, red: white, black, blue, red, gold from the outside in (World Archery, std).
    colours = ((250, 250, 250), (40, 40, 40), (190, 120, 40), (50, 50, 200), (40, 190, 240))
    for zone in range(10):
        radius = round(0.4 * FACE_PX * (10 - zone) / 10)
        cv2.circle(picture, (middle, middle), radius, colours[zone // 2], -1, cv2.LINE_AA)
        edge = (200, 200, 200) if zone // 2 == 1 else (90, 90, 90)
        cv2.circle(picture, (middle, middle), radius, edge, 1, cv2.LINE_AA)
    _, data = cv2.imencode(".jpg", picture)
    return bytes(data)
