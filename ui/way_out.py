"""The way out of a long reading: stop it, or take back the click that made it long."""

from __future__ import annotations

from collections.abc import Hashable

import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from classify.types import Known
from ui.clip_chooser import ChosenClip
from ui.correction_part import take_back_quietly
from ui.dash_words import Words
from ui.reading_store import call_off, followed_of

_STOPPED = "reading-stopped"


def offer_way_out(place: DeltaGenerator, chosen: ChosenClip, known: Known, word: Words) -> None:
    """Put the buttons beneath a progress bar; what they do is done before the page runs again.

    Parameters
    ----------
    place
        Where they go.
    chosen, known
        The clip, and what the coach knows.
    word
        The page's language.
    """
    film = followed_of(chosen.sha256, known)
    with place.container(horizontal=True):
        st.button(
            word("pages.stop_reading"),
            key=f"stop-{chosen.sha256[:12]}",
            on_click=_stop,
            args=(film,),
        )
        if known.click is not None:
            st.button(
                word("pages.stop_click"),
                key=f"stop-click-{chosen.sha256[:12]}",
                on_click=_stop_click,
                args=(film, chosen, word),
            )


def was_stopped(chosen: ChosenClip, known: Known, word: Words) -> bool:
    """Say that a reading was stopped, and offer to begin it anew.

    Parameters
    ----------
    chosen, known
        The clip, and what the coach knows.
    word
        The page's language.

    Returns
    -------
    bool
        False, and nothing is said, if it was not.
    """
    if st.session_state.get(_STOPPED) != followed_of(chosen.sha256, known):
        return False
    st.info(word("pages.called_off"))
    st.button(
        word("pages.read_after_all"),
        key=f"read-on-{chosen.sha256[:12]}",
        on_click=lambda: st.session_state.pop(_STOPPED, None),
    )
    return True


def note_stopped(chosen: ChosenClip, known: Known) -> None:
    """Remember that a reading was stopped, by another tab perhaps, so that it is not begun anew.

    Parameters
    ----------
    chosen, known
        The clip, and what the coach knows.
    """
    st.session_state[_STOPPED] = followed_of(chosen.sha256, known)


def _stop(film: Hashable) -> None:
    call_off(film)
    st.session_state[_STOPPED] = film


def _stop_click(film: Hashable, chosen: ChosenClip, word: Words) -> None:
    # first the note: a reading that cannot be changed had better go on
    if take_back_quietly(chosen, "click", word):
        call_off(film)
