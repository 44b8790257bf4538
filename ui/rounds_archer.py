"""The archer at hand on a page: the hand that was forgotten or mistaken is put right."""

from __future__ import annotations

from html import escape
from typing import get_args

import streamlit as st

from classify.logbook import Archer, change_archer
from classify.logbook_file import LogbookFile
from classify.types import Hand
from tracker.types import InputError, Message, message
from ui.dash_words import Words
from ui.rounds_part import attempt

_SAID = "rounds-said"


def hand_part(book: LogbookFile, archer: Archer, word: Words) -> None:
    """Ask for the archer's hand while nobody said it; let it be corrected, with a reason, later.

    Parameters
    ----------
    book, archer
        Logbook and whose hand.
    word
        The page's language.
    """
    missing = archer.hand is None
    title = word("rounds.hand_missing" if missing else f"rounds.hand_is_{archer.hand}")
    with st.expander(title, expanded=missing):
        if missing:
            st.html(f'<p class="ts-note">{escape(word("rounds.hand_why"))}</p>')
        own = f"hand-{archer.id[:8]}"
        with st.form(own, border=False):
            hand = hand_field(f"{own}-{archer.hand}", archer.hand, word)
            reason = "" if missing else st.text_input(word("rounds.reason"), key=f"{own}-why")
            sent = st.form_submit_button(word("rounds.hand_send"))
        if sent and attempt(word, lambda: _put_hand(book, archer, hand, reason)):
            say_next(message(f"logbook.kept_hand_{hand}", name=archer.name))
            st.rerun()


def hand_field(key: str, hand: Hand | None, word: Words) -> Hand | None:
    """Ask for a hand.

    Parameters
    ----------
    key
        Of the widget.
    hand
        What stands there.
    word
        The page's language.

    Returns
    -------
    Hand or None
        None while nobody said.
    """
    hands: tuple[Hand, ...] = get_args(Hand)
    return st.radio(
        word("pages.known_hand"),
        hands,
        index=None if hand is None else hands.index(hand),
        format_func=lambda value: word(f"pages.hand_{value}"),
        horizontal=True,
        key=key,
    )


def _put_hand(book: LogbookFile, archer: Archer, hand: Hand | None, reason: str) -> None:
    if hand is None:
        raise InputError("rounds.hand_which")
    if hand == archer.hand:
        raise InputError("rounds.change_nothing")
    if archer.hand is not None and not reason.strip():
        raise InputError("rounds.hand_reason")
    change_archer(book, archer, hand=hand, notes=archer.notes, reason=reason.strip() or "hand")


def say_next(sentence: Message) -> None:
    """Leave a sentence for the page's next run, which begins at once.

    Parameters
    ----------
    sentence
        What was done.
    """
    st.session_state[_SAID] = sentence


def show_said(word: Words) -> None:
    """Say once what was done before the page was drawn anew.

    Parameters
    ----------
    word
        The page's language.
    """
    said = st.session_state.pop(_SAID, None)
    if said is not None:
        st.success(word.safe(said))
