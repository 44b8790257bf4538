"""What was seen with a set-up: the list, and the forms that add to it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from html import escape
from typing import Any

import streamlit as st

from classify.evidence import ARROW_PARTS, BOW_PARTS
from classify.evidence_book import Seen
from classify.knowledge import load_knowledge
from classify.logbook import Version
from classify.logbook_undo import delete, is_deleted, last_deleted, undo_delete
from tracker.types import InputError
from ui.entries import entering, show_trouble
from ui.linked import page_link
from ui.number_field import (
    ARROWS,
    CROSSWIND_M_S,
    DIAMETER_CM,
    DISTANCE_M,
    GROUP_FACE_CM,
    SCORE,
    NumberField,
    every_number,
)
from ui.rounds_bare import bare_form
from ui.rounds_correct import GONE, correct_part
from ui.rounds_flight import flight_form
from ui.rounds_part import (
    AtHand,
    book_anew,
    day_field,
    form_entering,
    form_key,
    keep_seen,
    say_kept,
)
from ui.seen_words import seen_words, touch_words

_KINDS = ("flight", "bare", "powder", "groups", "eye")


def seen_part(at: AtHand) -> None:
    """Draw what was seen and the forms for more.

    Parameters
    ----------
    at
        The case.
    """
    word = at.word
    show_trouble(at.key(GONE), word)
    _list(at)
    kind = st.segmented_control(
        word("rounds.add"),
        _KINDS,
        format_func=lambda name: word(f"rounds.kind_{name}"),
        key=at.key("add-kind"),
    )
    forms = {
        "flight": flight_form,
        "bare": bare_form,
        "powder": _powder,
        "groups": _groups,
        "eye": _eye,
    }
    if kind is not None:
        forms[kind](at)
    say_kept(at)
    _earlier(at)


def _list(at: AtHand) -> None:
    version, seen = at.case.newest, at.case.seen[-1]
    st.html(f"<h3>{escape(at.word('rounds.seen', number=version.number))}</h3>")
    if not seen:
        st.write(at.word("rounds.seen_none"))
    _entries(at, version, seen)


def _earlier(at: AtHand) -> None:
    """Show what was seen with the versions before, once a version is opened."""
    lots = list(zip(at.case.versions[:-1], at.case.seen[:-1], strict=True))
    for version, seen in reversed(lots):
        if not seen and _deleted_from(at, version) is None:
            continue
        title = at.word("rounds.seen", number=version.number)
        with st.expander(title, key=f"seen-{version.id}", on_change="rerun") as part:
            if part.open:
                _entries(at, version, seen)


def _entries(at: AtHand, version: Version, seen: Sequence[Seen]) -> None:
    """Draw what was seen with one version, and what can be done where it is wrong."""
    place, gone = f"delete-{version.id}", _deleted_from(at, version)
    for row, one in enumerate(seen):
        if gone is not None and row == gone.row:
            _say_deleted(at, place)
        with st.container(horizontal=True, vertical_alignment="center"):
            st.html(_seen_html(at, one), width="stretch")
            st.button(
                at.word("rounds.delete"),
                key=f"delete-{one.id}",
                on_click=entering(place, partial(_delete, at, one, row), once=True),
            )
        correct_part(at, one)
    if gone is not None and gone.row >= len(seen):
        _say_deleted(at, place)
    show_trouble(place, at.word)


def _say_deleted(at: AtHand, place: str) -> None:
    """Say so where it stood, under the hand that deleted it."""
    st.success(at.word("rounds.deleted"))
    st.button(at.word("book.undo"), key=f"undo-{place}", on_click=entering(place, _bring_back))


@dataclass(frozen=True, kw_only=True)
class _Gone:
    """What this page took from a version's list, and from which row."""

    seen: Seen
    row: int


def _deleted_from(at: AtHand, version: Version) -> _Gone | None:
    """Tell what this page took from a version, if that is what was deleted last of all."""
    gone: _Gone | None = st.session_state.get(at.key("deleted-seen"))
    if gone is None or gone.seen.version_id != version.id:
        return None
    return gone if last_deleted(at.book) == ("evidence", gone.seen.id) else None


def _delete(at: AtHand, one: Seen, row: int) -> None:
    try:
        delete(book_anew(), "evidence", one.id)
    except InputError:
        if is_deleted(book_anew(), "evidence", one.id):
            raise InputError("rounds.deleted_before") from None
        raise
    st.session_state[at.key("deleted-seen")] = _Gone(seen=one, row=row)


def _bring_back() -> None:
    undo_delete(book_anew())


def _seen_html(at: AtHand, seen: Seen) -> str:
    word = at.word
    names: Mapping[str, str] = {"bare shaft": "bare"}
    kind = word(f"rounds.kind_{names.get(seen.kind, seen.kind)}")
    parts = [f"<strong>{escape(seen.dated)} · {escape(kind)}</strong>"]
    parts += [escape(text) for text in seen_words(seen, at.case.archer.hand, word)]
    if seen.clip_sha256 is not None:
        said = word("rounds.open_clip")
        parts.append(page_link("", said, word.language, clip=seen.clip_sha256))
    return f'<p class="ts-note">{" · ".join(parts)}</p>'


def _powder(at: AtHand) -> None:
    word = at.word

    def keep() -> None:
        entered = _entered(at, "powder", "marks", "clean")
        marks = entered["marks"] or []
        if bool(marks) == bool(entered["clean"]):
            raise InputError("rounds.powder_which")
        keep_seen(at, "powder", {"marks": [list(pair) for pair in marks]})

    pairs = [(arrow, bow) for arrow in ARROW_PARTS for bow in BOW_PARTS]
    with st.form(at.key("powder"), border=False):
        st.multiselect(
            word("rounds.powder_help"),
            pairs,
            format_func=lambda pair: touch_words(pair, word),
            key=form_key(at, "powder", "marks"),
        )
        st.checkbox(word("rounds.powder_clean"), key=form_key(at, "powder", "clean"))
        day_field(word("rounds.day"), form_key(at, "powder", "day"))
        st.form_submit_button(
            word("rounds.keep_powder"),
            type="primary",
            on_click=form_entering(at, "powder", keep),
        )
    show_trouble(at.key("powder"), word)


_GROUP: Mapping[str, NumberField] = {
    "distance": DISTANCE_M,
    "arrows": ARROWS,
    "diameter": DIAMETER_CM,
    "score": SCORE,
    "face": GROUP_FACE_CM,
    "wind": CROSSWIND_M_S,
}


def _groups(at: AtHand) -> None:
    word = at.word
    with st.form(at.key("groups"), border=False):
        fields = list(_GROUP.items())
        for row in (fields[:3], fields[3:]):  # a phone shows one under the other, in this order
            for column, (name, field) in zip(st.columns(3), row, strict=True):
                field.draw(column, form_key(at, "group", name), word)
        day_field(word("rounds.day"), form_key(at, "group", "day"))
        st.form_submit_button(
            word("rounds.keep_groups"),
            type="primary",
            on_click=form_entering(at, "group", lambda: _keep_group(at)),
        )
    show_trouble(at.key("group"), word)


def _keep_group(at: AtHand) -> None:
    distance, arrows, diameter, score, face, wind = every_number(
        [
            partial(field.number, form_key(at, "group", name), at.word)
            for name, field in _GROUP.items()
        ]
    )
    if diameter is not None and score is None:
        found = {"diameter_m": diameter / 100.0}
    elif diameter is None and score is not None and face is not None:
        found = {"score": score, "face_diameter_m": face / 100.0}
    else:
        raise InputError("rounds.group_what")
    payload: dict[str, object] = {
        "distance_m": distance,
        "crosswind_m_s": wind,
        "arrows": int(arrows or 0),
    }
    keep_seen(at, "group", {**payload, **found})


def _eye(at: AtHand) -> None:
    word = at.word

    def keep() -> None:
        entered = _entered(at, "eye", "seen", "groups")
        if not (entered["seen"] or entered["groups"]):
            raise InputError("rounds.eye_nothing")
        seen = list(entered["seen"] or [])
        keep_seen(at, "eye", {"seen": seen, "groups_judged": entered["groups"] or None})

    knowledge = load_knowledge(at.case.archer.hand, word.language)
    titles = {f.name: f.title for f in knowledge.findings.values() if f.kind == "eye"}
    with st.form(at.key("eye"), border=False):
        st.multiselect(
            word("rounds.eye_help"),
            list(titles),
            format_func=lambda name: titles[name],
            key=form_key(at, "eye", "seen"),
        )
        st.radio(
            word("rounds.eye_groups"),
            ("", "good", "poor"),
            format_func=lambda name: word(f"rounds.groups_{name or 'unsaid'}"),
            horizontal=True,
            key=form_key(at, "eye", "groups"),
        )
        day_field(word("rounds.day"), form_key(at, "eye", "day"))
        st.form_submit_button(
            word("rounds.keep_eye"), type="primary", on_click=form_entering(at, "eye", keep)
        )
    show_trouble(at.key("eye"), word)


def _entered(at: AtHand, form: str, *names: str) -> dict[str, Any]:
    """Give what stands in the fields of a form, as their widgets give it; None for nothing."""
    return {name: st.session_state.get(form_key(at, form, name)) for name in names}
