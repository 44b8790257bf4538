"""The form that adds a flight to a set-up: its film is read first, which may take a minute.

A press leaves what was asked for in the session; the page reads and keeps it, and goes on with it
at its next run if it was broken off.
"""

from __future__ import annotations

from dataclasses import dataclass

import streamlit as st

from classify.clip_store import keep_clip
from classify.evidence_book import record, refuse_flight
from classify.logbook import Version
from classify.report_json import reading_json
from tracker.types import InputError
from ui.clip_chooser import choices, clip_by_token, shelf
from ui.corrections import told
from ui.entries import entering, leave_trouble, show_trouble, typed_in
from ui.known_input import parse_known
from ui.page_read import progress_bar
from ui.reading_store import kept_reading
from ui.report_film import known_with_sheet
from ui.rounds_part import AtHand, book_anew, day_field, day_in, form_kept, form_key

_FORM = "flight"


@dataclass(kw_only=True)
class _Asked:
    """A flight to be read and kept.

    Attributes
    ----------
    token, arrow, dated, version
        The clip, what the coach said of it, and what it was shot with.
    kept
        Whether it stands in the logbook: a run that is broken off after that must not keep it
        twice.
    """

    token: str
    arrow: str
    dated: str
    version: Version
    kept: bool = False


def flight_form(at: AtHand) -> None:
    """Draw the form, and read what it asked for.

    Parameters
    ----------
    at
        The case.
    """
    word, key = at.word, at.key(_FORM)
    named = choices(word)
    with st.form(key, border=False):
        st.selectbox(
            word("pages.choose_clip"),
            list(named),
            index=None,
            format_func=lambda token: named.get(token, token),
            key=form_key(at, _FORM, "clip"),
        )
        st.text_input(word("rounds.arrow"), key=form_key(at, _FORM, "arrow"), width=200)
        day_field(word("rounds.day"), form_key(at, _FORM, "day"))
        st.form_submit_button(
            word("rounds.keep_flight"), type="primary", on_click=entering(key, lambda: _ask(at))
        )
    read_asked(at)


def _ask(at: AtHand) -> None:
    token = st.session_state.get(form_key(at, _FORM, "clip"))
    if not token:
        raise InputError("rounds.flight_which")
    st.session_state[_waiting(at)] = _Asked(
        token=token,
        arrow=typed_in(form_key(at, _FORM, "arrow")),
        dated=day_in(form_key(at, _FORM, "day")),
        version=at.case.newest,
    )


def read_asked(at: AtHand) -> None:
    """Read and keep the flight that was asked for last, and say why if it cannot be.

    Parameters
    ----------
    at
        The case.
    """
    asked: _Asked | None = st.session_state.get(_waiting(at))
    if asked is not None:
        try:
            if not asked.kept:
                _read_and_keep(at, asked)
        except InputError as mistake:
            leave_trouble(at.key(_FORM), mistake.message)
        except Exception:
            # it would fail again at every run
            st.session_state.pop(_waiting(at), None)
            raise
        else:
            form_kept(at, _FORM, asked.version.number)
            st.session_state.pop(_waiting(at), None)
            st.rerun()
        st.session_state.pop(_waiting(at), None)
    show_trouble(at.key(_FORM), at.word)


def _read_and_keep(at: AtHand, asked: _Asked) -> None:
    word, book = at.word, book_anew()
    chosen = clip_by_token(asked.token, word)
    if chosen is None:
        raise InputError("rounds.flight_which")
    place = st.empty()
    said = told(shelf(), chosen.sha256, chosen.given)
    known = known_with_sheet(parse_known(said), at.case.archer, asked.version)
    refuse_flight(
        book,
        asked.version,
        clip_sha256=chosen.sha256,
        flight=known.flight if known.click is None else None,
        dated=asked.dated,
    )
    result = kept_reading(chosen.path, chosen.sha256, known, lambda: progress_bar(place, word))
    kept = keep_clip(book, chosen.path)
    payload: dict[str, object] = {
        "reading": reading_json(result.reading, word.tell),
        "arrow": asked.arrow or None,
        "known": {name: text for name, text in said.items() if text},
    }
    opinion = shelf().last(chosen.sha256, "opinion")
    if opinion is not None and opinion.get("label"):
        payload["opinion"] = dict(opinion)
    record(book, asked.version, "flight", payload, dated=asked.dated, clip_sha256=kept.sha256)
    asked.kept = True


def _waiting(at: AtHand) -> str:
    return at.key("flight-asked")
