"""The part of a page where a coach takes a clip out of the list, and brings it back."""

from __future__ import annotations

from html import escape

import streamlit as st

from tracker.types import message
from ui.clip_chooser import ChosenClip, leave_clip, shelf
from ui.dash_words import Words
from ui.entries import entering, show_trouble

_REMOVED = "clip-removed"


def remove_clip_part(chosen: ChosenClip, word: Words) -> None:
    """Offer to take a clip of the coach's own out of the list, or to bring it back.

    Parameters
    ----------
    chosen
        The clip; nothing is offered for a shipped one.
    word
        The page's language.
    """
    kept = None if chosen.demo is not None else shelf().clip(chosen.sha256)
    if kept is None:
        return
    key = chosen.sha256[:12]
    if kept.removed:
        said = word("pages.clip_was_removed")
        st.html(f'<p class="ts-note">{escape(said)}</p>')
        st.button(
            word("pages.clip_bring_back"),
            key=f"bring-back-{key}",
            on_click=entering(f"clip-{key}", lambda: shelf().bring_back(chosen.sha256)),
        )
        show_trouble(f"clip-{key}", word)
        return

    def remove() -> None:
        shelf().remove(chosen.sha256)
        st.session_state[_REMOVED] = chosen
        leave_clip()

    with st.expander(word("pages.remove_clip"), key=f"remove-clip-{key}"):
        st.warning(word.safe(message("pages.remove_clip_sure", name=chosen.name)))
        st.button(
            word("rounds.remove_yes"),
            key=f"remove-clip-yes-{key}",
            on_click=entering(f"clip-{key}", remove),
        )
        show_trouble(f"clip-{key}", word)


def show_removed(word: Words) -> None:
    """Say which clip was removed last, as long as no other is chosen, and offer to undo it.

    Parameters
    ----------
    word
        The page's language.
    """
    removed: ChosenClip | None = st.session_state.get(_REMOVED)
    if removed is None:
        return
    if st.query_params.get("clip"):
        st.session_state.pop(_REMOVED)
        return
    st.success(word.safe(message("rounds.removed", name=removed.name)))

    def bring_back() -> None:
        shelf().bring_back(removed.sha256)
        st.session_state.pop(_REMOVED, None)
        st.query_params["clip"] = removed.token

    st.button(
        word("pages.clip_bring_back"),
        key="bring-clip-back",
        on_click=entering(_REMOVED, bring_back),
    )
    show_trouble(_REMOVED, word)
