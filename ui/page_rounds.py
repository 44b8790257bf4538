"""The archers' set-ups and rounds: sheet, what was seen, next change, did it work, report."""

from __future__ import annotations

from collections.abc import Mapping
from html import escape
from typing import Literal

import streamlit as st

from classify.casebook import open_case
from classify.logbook import Archer, Bow, add_archer, add_setup, archers, setups
from classify.logbook_file import LogbookFile
from fixtures.season import play_season, season_there
from fixtures.season_stories import STORIES
from tracker.types import InputError, message
from ui.dash_words import Words, page_words
from ui.entries import entering, show_trouble, typed_in
from ui.linked import linked_choice, linked_name, remembered_name, turn_to
from ui.rounds_archer import hand_field, hand_part, own_names, remove_part, say_next, show_said
from ui.rounds_flight import read_asked
from ui.rounds_next import compare_part, next_part, report_part
from ui.rounds_part import AtHand, attempt, book_anew, day_field, day_in, open_book
from ui.rounds_seen import seen_part
from ui.rounds_sheet import sheet_in, sheet_inputs, sheet_part

_PARTS = {
    "next": next_part,
    "seen": seen_part,
    "sheet": sheet_part,
    "compare": compare_part,
    "report": report_part,
}


def show_rounds() -> None:
    """Draw the page."""
    word = page_words()
    st.title(word("rounds.title"))
    try:
        _show(open_book(word), word)
    except InputError as mistake:
        st.error(word.safe(mistake.message))


def _show(book: LogbookFile, word: Words) -> None:
    show_said(word)
    known = archers(book)
    if not known:
        _newcomer(book, word)
        return
    left, right = st.columns(2)
    with left:
        archer = _choose_archer(book, known, word)
    if archer is None:
        with st.expander(word("rounds.new_archer"), expanded=True):
            _new_archer(word)
        return
    with right:
        bow = _choose_setup(book, archer, word)
    if archer.hand is None:
        hand_part(archer, word)
    if bow is not None:
        at = AtHand(book=book, bow=bow, case=open_case(book, archer, bow.id), word=word)
        part = linked_choice(
            st.container(),
            "part",
            word("rounds.what"),
            list(_PARTS),
            lambda name: word(f"rounds.tab_{name}"),
        )
        _PARTS[part](at)
        # a flight whose reading was broken off by a look at another part
        read_asked(at)
    first = not setups(book, archer)
    title = word("rounds.first_setup" if first else "rounds.new_setup")
    with st.expander(title, expanded=first):
        _new_setup(archer, word)
    if archer.hand is not None:
        hand_part(archer, word)
    remove_part(archer, bow, word)
    with st.expander(word("rounds.new_archer")):
        _new_archer(word)
    if not season_there(book):
        with st.expander(word("rounds.season_title")):
            st.html(f'<p class="ts-note">{escape(word("rounds.season_help"))}</p>')
            _season(book, word, kind="secondary")


def _newcomer(book: LogbookFile, word: Words) -> None:
    st.html(f'<p class="ts-hello">{escape(word("rounds.hello"))}</p>')
    _season(book, word, kind="primary")
    st.subheader(word("rounds.first_archer"), anchor=False)
    _new_archer(word)


def _season(book: LogbookFile, word: Words, *, kind: Literal["primary", "secondary"]) -> None:
    if st.button(word("rounds.hello_season"), type=kind, key="season"):
        with st.spinner(word("rounds.season_playing")):
            done = attempt(word, lambda: play_season(book))
        if done:
            st.query_params.pop("setup", None)
            turn_to("archer", STORIES[0].name)
            st.rerun()


def _choose_archer(book: LogbookFile, known: list[Archer], word: Words) -> Archer | None:
    """Choose an archer; an address that names nobody here must not bring up another's advice."""
    names = [archer.name for archer in known]

    def setup_of(name: str) -> Mapping[str, str | None]:
        archer = known[names.index(name)]
        bows = [bow.name for bow in setups(book, archer)]
        return {"setup": remembered_name("setup", bows, owner=own_names(archer))}

    name = linked_name("archer", word("rounds.archer"), names, key="rounds-archer", along=setup_of)
    if name is None:
        st.warning(word("rounds.archer_gone"))
        return None
    return known[names.index(name)]


def _choose_setup(book: LogbookFile, archer: Archer, word: Words) -> Bow | None:
    bows = setups(book, archer)
    if not bows:
        st.write(word.safe(message("rounds.no_setup", name=archer.name)))
        return None
    names = [bow.name for bow in bows]
    own = own_names(archer)
    name = linked_name("setup", word("rounds.setup"), names, key=f"rounds-setup{own}", owner=own)
    if name is None:
        st.warning(word("rounds.setup_gone"))
        return None
    return bows[names.index(name)]


def _new_archer(word: Words) -> None:
    def keep() -> None:
        name = typed_in("new-archer-name")
        add_archer(book_anew(), name, hand=st.session_state.get("new-archer-hand"))
        st.query_params.pop("setup", None)
        turn_to("archer", name)
        say_next(message("logbook.kept_archer", name=name))

    with st.form("new-archer", border=False):
        st.text_input(word("rounds.archer_name"), key="new-archer-name")
        hand_field("new-archer-hand", None, word)
        st.form_submit_button(
            word("rounds.keep_archer"), on_click=entering("new-archer", keep, once=True)
        )
    show_trouble("new-archer", word)


def _new_setup(archer: Archer, word: Words) -> None:
    own, reason = archer.id[:8], word("rounds.first_version")
    place = f"new-setup-{own}"

    def keep() -> None:
        name, day = typed_in(f"setup-name-{own}"), day_in(f"setup-day-{own}")
        said = {field: text for field, text in sheet_in(f"setup-{own}").items() if text}
        add_setup(book_anew(), archer, name, typed=said, dated=day, reason=reason)
        turn_to("setup", name, owner=own_names(archer))
        say_next(message("logbook.kept_archer", name=name))

    with st.form(place, border=False):
        st.text_input(word("rounds.setup_name"), key=f"setup-name-{own}")
        sheet_inputs(f"setup-{own}", None, word)
        day_field(word("rounds.day"), f"setup-day-{own}")
        st.form_submit_button(
            word("rounds.keep_setup"), type="primary", on_click=entering(place, keep, once=True)
        )
    show_trouble(place, word)
