"""Correct what was written down, on a page: what stood there before is kept and can be read."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from html import escape

import streamlit as st

from classify.evidence_book import Seen, correct
from classify.logbook_undo import history, is_deleted, kept_json
from tracker.types import InputError, message
from ui.entries import entering, leave_trouble, show_trouble, typed_in
from ui.known_input import decimal
from ui.rounds_part import AtHand, book_anew
from ui.seen_words import seen_words

GONE = "gone"
"""Place of the page for what cannot be said beside an entry, since that is there no more."""

NUMBERS: Mapping[str, tuple[str, ...]] = {
    "bare shaft": ("distance_m", "crosswind_m_s"),
    "groups": ("distance_m", "crosswind_m_s", "diameter_m", "arrows", "score", "face_diameter_m"),
    "flight": ("arrow",),
}
"""What can be corrected in place; impacts and marks are deleted and entered again."""


def correct_part(at: AtHand, seen: Seen) -> None:
    """Draw the form that corrects one piece of evidence, and its past.

    Parameters
    ----------
    at
        The case.
    seen
        What to correct.
    """
    word = at.word
    names = [n for n in NUMBERS.get(seen.kind, ()) if n in seen.payload or n == "crosswind_m_s"]
    past = history(at.book, seen.id)
    if not names and not past:
        return
    with st.expander(word("rounds.correct"), key=f"correct-part-{seen.id}"):
        if past:
            st.html(_past_html(at, seen, past))
        if not names:
            return
        own = f"correct-{seen.id}"
        with st.form(own, border=False):
            for name in names:
                st.text_input(
                    word(f"rounds.payload_{name}"),
                    value=_shown(seen.payload.get(name)),
                    key=f"{own}-{name}",
                )
            st.text_input(word("rounds.reason"), key=f"{own}-why")
            st.form_submit_button(
                word("rounds.correct_send"),
                on_click=entering(own, lambda: _correct(at, seen, names), once=True),
            )
        show_trouble(own, word)


def _correct(at: AtHand, seen: Seen, names: list[str]) -> None:
    try:
        _keep_corrected(seen, names)
    except InputError:
        if is_deleted(book_anew(), "evidence", seen.id):
            leave_trouble(at.key(GONE), message("rounds.deleted_before"))
            return
        raise


def _keep_corrected(seen: Seen, names: list[str]) -> None:
    texts = {name: typed_in(f"correct-{seen.id}-{name}") for name in names}
    reason = typed_in(f"correct-{seen.id}-why")
    if not reason:
        raise InputError("rounds.reason_missing")
    changed = {n: _value(n, t) for n, t in texts.items() if t != _shown(seen.payload.get(n))}
    if not changed:
        raise InputError("rounds.change_nothing")
    correct(book_anew(), seen, {**seen.payload, **changed}, reason=reason)


def _value(name: str, text: str) -> object:
    """Read a number, or the arrow's name; blank is unknown."""
    if not text:
        return None
    if name == "arrow":
        return text
    try:
        number = decimal(text)
    except ValueError:
        raise InputError("rounds.no_number", found=text) from None
    return int(number) if name == "arrows" else number


def _shown(value: object) -> str:
    return "" if value is None else str(value)


def _past_html(at: AtHand, seen: Seen, past: list[tuple[str, str, dict[str, object]]]) -> str:
    def stood(row: Mapping[str, object]) -> str:
        then = replace(seen, payload=kept_json(str(row.get("payload_json", ""))))
        return " · ".join(seen_words(then, at.case.archer.hand, at.word))

    items = "".join(
        f"<li><strong>{escape(when[:10])}</strong> {escape(reason)} · "
        f"{escape(at.word('rounds.stood', text=stood(row)))}</li>"
        for when, reason, row in past
    )
    return f"<ul class='ts-history'>{items}</ul>"
