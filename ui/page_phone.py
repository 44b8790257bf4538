"""Films from a phone: opens and shuts the door, shows address, QR code and access code."""

from __future__ import annotations

import io
from dataclasses import dataclass, field
from html import escape

import segno
import streamlit as st

from tracker.types import InputError, message
from ui.clip_chooser import shelf
from ui.command_open import UPLOAD_LIMIT_MB
from ui.dash_words import Words, page_words
from ui.linked import page_link
from ui.phone_gate import PhoneGate, own_address
from ui.picture_html import picture_html
from ui.words import say


@dataclass
class _Door:
    """The one door of this computer and what came in through it."""

    gate: PhoneGate | None = None
    arrived: list[str] = field(default_factory=list)


@st.cache_resource(show_spinner=False)
def _door() -> _Door:
    return _Door()


def show_phone() -> None:
    """Draw the page."""
    word = page_words()
    st.title(word("phone.title"))
    st.html(f'<p class="ts-note">{escape(word("phone.help"))}</p>')
    door = _door()
    if door.gate is not None and door.gate.url is None:
        door.gate = None
        st.warning(word("phone.timed_out"))
    if door.gate is None:
        st.info(word("phone.off"))
        if st.button(word("phone.open"), type="primary", key="phone-open"):
            _open(door, word)
    else:
        _show_open(door, door.gate, word)
    _show_arrived(word)


def _open(door: _Door, word: Words) -> None:
    address = own_address()
    if address is None:
        st.error(word("phone.no_network"))
        return

    def arrived(sha256: str) -> str:
        door.arrived.append(sha256)
        return say(message("phone.thanks"), word.language)

    gate = PhoneGate(
        shelf(),
        address,
        most_bytes=UPLOAD_LIMIT_MB * 2**20,
        arrived=arrived,
        language=word.language,
    )
    try:
        gate.start()
    except InputError as mistake:
        st.error(word.safe(mistake.message))
        return
    door.gate = gate
    st.rerun()


def _show_open(door: _Door, gate: PhoneGate, word: Words) -> None:
    st.warning(word("phone.on"))
    url = gate.url or ""
    left, right = st.columns([1, 2])
    picture = io.BytesIO()
    segno.make(url, error="m").save(picture, kind="png", scale=8, border=4)
    left.html(picture_html(picture.getvalue(), word("phone.qr_says"), width_px=280))
    right.html(
        f"<p>{escape(word('phone.address'))}</p>"
        f'<p class="ts-big" data-what="address">{escape(url)}</p>'
        f"<p>{escape(word('phone.code'))}</p>"
        f'<p class="ts-big" data-what="code">{escape(gate.code)}</p>'
        f"<p>{escape(_shuts(gate, word))}</p>"
    )
    if right.button(word("phone.shut_it"), type="primary", key="phone-shut"):
        gate.stop()
        door.gate = None
        st.rerun()


def _shuts(gate: PhoneGate, word: Words) -> str:
    return "" if gate.shuts_at is None else word("phone.shuts_at", time=f"{gate.shuts_at:%H:%M}")


@st.fragment(run_every=2.0)
def _show_arrived(word: Words) -> None:
    """List what came in, looked at again every other second."""
    arrived = list(dict.fromkeys(_door().arrived))
    st.subheader(word("phone.arrived"), anchor=False)
    if not arrived:
        st.write(word("phone.arrived_none"))
    links = []
    for sha256 in reversed(arrived):
        clip = shelf().clip(sha256)
        if clip is not None:
            text = word("phone.arrived_open", name=clip.name)
            links.append(f"<li>{page_link('', text, word.language, clip=sha256)}</li>")
    if links:
        st.html(f"<ul>{''.join(links)}</ul>")
