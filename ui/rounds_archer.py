"""The archer at hand on a page: the hand is put right, an archer or a set-up taken out of sight."""

from __future__ import annotations

from dataclasses import dataclass
from html import escape
from typing import Literal, get_args

import streamlit as st

from classify.logbook import Archer, Bow, change_archer
from classify.logbook_undo import delete, undo_delete
from classify.types import Hand
from tracker.types import InputError, Message, message
from ui.dash_words import Words
from ui.entries import entering, show_trouble, typed_in
from ui.linked import turn_to
from ui.rounds_part import book_anew

_SAID, _ASKED, _REMOVED = "rounds-said", "rounds-remove", "rounds-removed"


def hand_part(archer: Archer, word: Words) -> None:
    """Ask for the archer's hand while nobody said it; let it be corrected, with a reason, later.

    Parameters
    ----------
    archer
        Whose hand.
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
            hand_field(f"{own}-{archer.hand}", archer.hand, word)
            if not missing:
                st.text_input(word("rounds.reason"), key=f"{own}-why")
            st.form_submit_button(
                word("rounds.hand_send"),
                on_click=entering(own, lambda: _put_hand(archer, own), once=True),
            )
        show_trouble(own, word)


def hand_field(key: str, hand: Hand | None, word: Words) -> None:
    """Ask for a hand.

    Parameters
    ----------
    key
        Of the widget.
    hand
        What stands there; None while nobody said.
    word
        The page's language.
    """
    hands: tuple[Hand, ...] = get_args(Hand)
    st.radio(
        word("pages.known_hand"),
        hands,
        index=None if hand is None else hands.index(hand),
        format_func=lambda value: word(f"pages.hand_{value}"),
        horizontal=True,
        key=key,
    )


def _put_hand(archer: Archer, own: str) -> None:
    hand: Hand | None = st.session_state.get(f"{own}-{archer.hand}")
    reason = "" if archer.hand is None else typed_in(f"{own}-why")
    if hand is None:
        raise InputError("rounds.hand_which")
    if hand == archer.hand:
        raise InputError("rounds.change_nothing")
    if archer.hand is not None and not reason:
        raise InputError("rounds.hand_reason")
    change_archer(book_anew(), archer, hand=hand, notes=archer.notes, reason=reason or "hand")
    say_next(message(f"logbook.kept_hand_{hand}", name=archer.name))


def remove_part(archer: Archer, bow: Bow | None, word: Words) -> None:
    """Offer to take the set-up or the archer out of sight, and ask once more before it is done.

    Parameters
    ----------
    archer, bow
        Whom, and the set-up that is shown.
    word
        The page's language.
    """
    offered = [_Removal(table="archers", id=archer.id, name=archer.name, owner=archer)]
    if bow is not None:
        offered.insert(0, _Removal(table="setups", id=bow.id, name=bow.name, owner=archer))
    asked = st.session_state.get(_ASKED)
    one = next((one for one in offered if one.id == asked), None)
    with st.expander(word("rounds.remove"), expanded=one is not None):
        if one is None:
            for each in offered:
                label = word.safe(message(f"rounds.remove_{each.table}", name=each.name))
                st.button(label, key=f"remove-{each.table}", on_click=_ask, args=(each.id,))
            return
        st.warning(word.safe(message(f"rounds.remove_sure_{one.table}", name=one.name)))
        yes, no = st.columns(2)
        no.button(word("rounds.remove_no"), key="remove-no", on_click=_ask, args=(None,))
        yes.button(
            word("rounds.remove_yes"),
            type="primary",
            key="remove-yes",
            on_click=entering(_ASKED, one.remove, once=True),
        )
        show_trouble(_ASKED, word)


@dataclass(frozen=True, kw_only=True)
class _Removal:
    """What is taken out of sight, and whose it is."""

    table: Literal["archers", "setups"]
    id: str
    name: str
    owner: Archer

    def remove(self) -> None:
        """Take it out of sight, and let the page choose anew."""
        delete(book_anew(), self.table, self.id)
        say_next(message("rounds.removed", name=self.name))
        st.session_state[_REMOVED] = self
        _ask(None)
        turn_to("setup", None, owner=own_names(self.owner))
        if self.table == "archers":
            turn_to("archer", None)

    def bring_back(self) -> None:
        """Undo the last removal, which was this one, and show it again."""
        undo_delete(book_anew())
        say_next(message("book.undone"))
        st.query_params.pop("setup", None)
        turn_to("archer", self.owner.name)
        if self.table == "setups":
            turn_to("setup", self.name, owner=own_names(self.owner))


def own_names(archer: Archer) -> str:
    """Tell one archer's choice of a set-up from another's, for `linked_name`.

    Parameters
    ----------
    archer
        Whose set-ups.

    Returns
    -------
    str
        Its ``owner``.
    """
    return f"-{archer.id[:8]}"


def _ask(row_id: str | None) -> None:
    st.session_state[_ASKED] = row_id


def say_next(sentence: Message) -> None:
    """Leave a sentence for the page's next run, which begins at once.

    Parameters
    ----------
    sentence
        What was done.
    """
    st.session_state[_SAID] = sentence
    st.session_state.pop(_REMOVED, None)


def show_said(word: Words) -> None:
    """Say once what was done before the page was drawn anew, and offer to undo a removal.

    Parameters
    ----------
    word
        The page's language.
    """
    said = st.session_state.pop(_SAID, None)
    if said is not None:
        st.success(word.safe(said))
        # the button may be far below that
        st.toast(word.safe(said))
    removed: _Removal | None = st.session_state.get(_REMOVED)
    if removed is not None:
        st.button(
            word("book.undo"),
            key="bring-back",
            on_click=entering(_REMOVED, removed.bring_back, once=True),
        )
        show_trouble(_REMOVED, word)
