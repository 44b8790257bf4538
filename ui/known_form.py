"""What the coach knows, as texts of a form: from `Known` to texts, and the fields of the page."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from html import escape

import streamlit as st

from classify.types import Known
from ui.dash_words import Words
from ui.entries import entering

FIELDS = (
    "capture_hz",
    "distance_m",
    "face_cm",
    "camera_distance_m",
    "speed_m_s",
    "field_of_view_deg",
    "focal_px",
    "nock_mm",
)
_ASKED = ("hand", *FIELDS)


def known_texts(known: Known) -> dict[str, str]:
    """Write what is known as the texts that a coach would have typed.

    Parameters
    ----------
    known
        In SI.

    Returns
    -------
    dict
        Text by field, blank where nobody said.
    """

    def text(value: float | None, factor: float = 1.0) -> str:
        return "" if value is None else f"{value * factor:.6g}"

    return {
        "capture_hz": "" if known.capture_hz is None else str(known.capture_hz),
        "distance_m": text(known.distance_m),
        "camera_distance_m": text(known.camera_distance_m),
        "speed_m_s": text(known.speed_m_s),
        "face_cm": text(known.face_diameter_m, 100),
        "focal_px": text(known.focal_px),
        "field_of_view_deg": text(known.field_of_view_deg),
        "nock_mm": text(known.nock_diameter_m, 1000),
        "hand": known.hand or "",
        "flight": str(known.flight + 1) if known.flight else "",
    }


def known_form(
    key: str,
    said: Mapping[str, str],
    word: Words,
    *,
    keep: Callable[[dict[str, str]], object],
    send: str = "",
    demo: bool = False,
) -> None:
    """Show the form; what was typed is kept when it is sent.

    Parameters
    ----------
    key
        Of the form; one for each clip. Also the place where the page shows what `keep` refused.
    said
        Texts to start from.
    word
        The page's language.
    keep
        Keeps texts by field when the coach sends them; called before the page is drawn anew.
    send
        What its button says; blank to read the clip again.
    demo
        Whether the texts are those of a demo clip, which nobody typed.
    """

    def sent() -> None:
        typed = {name: str(st.session_state.get(f"{key}-{name}") or "") for name in _ASKED}
        keep({**typed, "flight": said.get("flight", "")})

    intro = "pages.known_intro_demo" if demo else "pages.known_intro"
    with st.form(key, border=False):
        st.html(f'<p class="ts-note">{escape(word(intro))}</p>')
        hands = ("", "right", "left")
        hand = said.get("hand", "")
        st.radio(
            word("pages.known_hand"),
            hands,
            index=hands.index(hand) if hand in hands else 0,
            format_func=lambda value: word(f"pages.hand_{value or 'unknown'}"),
            horizontal=True,
            key=f"{key}-hand",
        )
        for first in range(0, len(FIELDS), 2):
            # A row at a time: a phone shows one column under the other, and must keep the order.
            for column, name in zip(st.columns(2), FIELDS[first : first + 2], strict=False):
                column.text_input(
                    word(f"pages.known_{name}"),
                    value=said.get(name, ""),
                    key=f"{key}-{name}",
                    help=word(f"pages.known_help_{name}"),
                    placeholder=word("pages.known_nobody_said"),
                )
        st.form_submit_button(
            send or word("pages.known_send"),
            type="primary",
            width="stretch",
            key=f"{key}-send",
            on_click=entering(key, sent),
        )
