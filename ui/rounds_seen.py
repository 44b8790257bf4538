"""What was seen with a set-up: the list, and the forms that add to it."""

from __future__ import annotations

from collections.abc import Mapping
from html import escape

import streamlit as st

from classify.clip_store import keep_clip
from classify.evidence import ARROW_PARTS, BOW_PARTS
from classify.evidence_book import Seen, record, refuse_flight
from classify.knowledge import load_knowledge
from classify.logbook_undo import delete
from classify.report_json import reading_json
from ui.clip_chooser import choices, clip_by_token, shelf
from ui.corrections import told
from ui.known_input import parse_known
from ui.linked import page_link
from ui.page_read import progress_bar
from ui.reading_store import kept_reading
from ui.report_film import known_with_sheet
from ui.rounds_bare import bare_form
from ui.rounds_correct import correct_part
from ui.rounds_part import (
    AtHand,
    attempt,
    day_field,
    form_kept,
    form_key,
    keep_seen,
    say_kept,
    wind_field,
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
    _list(at)
    kind = st.segmented_control(
        word("rounds.add"),
        _KINDS,
        format_func=lambda name: word(f"rounds.kind_{name}"),
        key=at.key("add-kind"),
    )
    forms = {
        "flight": _flight,
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
    word = at.word
    seen = at.case.seen[-1]
    st.html(f"<h3>{escape(word('rounds.seen', number=at.case.newest.number))}</h3>")
    if not seen:
        st.write(word("rounds.seen_none"))
    for one in seen:
        text, button = st.columns([6, 1], vertical_alignment="center")
        text.html(_seen_html(at, one))
        if button.button(word("rounds.delete"), key=f"delete-{one.id}"):
            _delete(at, one)
        correct_part(at, one)


def _delete(at: AtHand, one: Seen) -> None:
    if attempt(at.word, lambda: delete(at.book, "evidence", one.id)):
        st.rerun()


def _earlier(at: AtHand) -> None:
    """Show what was seen with the versions before."""
    word = at.word
    lots = list(zip(at.case.versions[:-1], at.case.seen[:-1], strict=True))
    for version, seen in reversed(lots):
        if not seen:
            continue
        with st.expander(word("rounds.seen", number=version.number)):
            for one in seen:
                st.html(_seen_html(at, one))


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


def _flight(at: AtHand) -> None:
    word = at.word
    named = choices(word)
    with st.form(at.key("flight"), border=False):
        token = st.selectbox(
            word("pages.choose_clip"),
            list(named),
            index=None,
            format_func=lambda key: named.get(key, key),
            key=form_key(at, "flight", "clip"),
        )
        arrow = st.text_input(word("rounds.arrow"), key=form_key(at, "flight", "arrow"), width=200)
        day = day_field(word("rounds.day"), form_key(at, "flight", "day"))
        sent = st.form_submit_button(word("rounds.keep_flight"), type="primary")
    if not sent:
        return
    chosen = clip_by_token(token, word) if token else None
    if chosen is None:
        st.error(word("rounds.flight_which"))
        return
    place = st.empty()

    def keep() -> None:
        said = told(shelf(), chosen.sha256, chosen.given)
        known = known_with_sheet(parse_known(said), at.case.archer, at.case.newest)
        refuse_flight(
            at.book,
            at.case.newest,
            clip_sha256=chosen.sha256,
            flight=known.flight if known.click is None else None,
            dated=day,
        )
        result = kept_reading(chosen.path, chosen.sha256, known, lambda: progress_bar(place, word))
        kept = keep_clip(at.book, chosen.path)
        payload: dict[str, object] = {
            "reading": reading_json(result.reading, word.tell),
            "arrow": arrow.strip() or None,
            "known": {name: text for name, text in said.items() if text},
        }
        opinion = shelf().last(chosen.sha256, "opinion")
        if opinion is not None and opinion.get("label"):
            payload["opinion"] = dict(opinion)
        record(at.book, at.case.newest, "flight", payload, dated=day, clip_sha256=kept.sha256)

    if attempt(word, keep):
        form_kept(at, "flight")
        st.rerun()


def _powder(at: AtHand) -> None:
    word = at.word
    pairs = [(arrow, bow) for arrow in ARROW_PARTS for bow in BOW_PARTS]
    with st.form(at.key("powder"), border=False):
        marks = st.multiselect(
            word("rounds.powder_help"),
            pairs,
            format_func=lambda pair: touch_words(pair, word),
            key=form_key(at, "powder", "marks"),
        )
        clean = st.checkbox(word("rounds.powder_clean"), key=form_key(at, "powder", "clean"))
        day = day_field(word("rounds.day"), form_key(at, "powder", "day"))
        sent = st.form_submit_button(word("rounds.keep_powder"), type="primary")
    if sent and bool(marks) == clean:
        st.error(word("rounds.powder_which"))
    elif sent:
        keep_seen(at, "powder", {"marks": [list(pair) for pair in marks]}, day)


def _groups(at: AtHand) -> None:
    word = at.word
    with st.form(at.key("groups"), border=False):
        columns = st.columns(3)
        distance = columns[0].number_input(
            word("rounds.distance_m"), 3.0, 90.0, 18.0, key=form_key(at, "group", "distance")
        )
        arrows = columns[1].number_input(
            word("rounds.arrows"), 2, 144, 6, key=form_key(at, "group", "arrows")
        )
        diameter = columns[2].number_input(
            word("rounds.diameter_cm"), 0.5, 300.0, None, key=form_key(at, "group", "diameter")
        )
        score = columns[0].number_input(
            word("rounds.or_score"), 0.0, 1440.0, None, key=form_key(at, "group", "score")
        )
        face = columns[1].number_input(
            word("rounds.face_cm"), 20.0, 122.0, None, key=form_key(at, "group", "face")
        )
        wind = wind_field(at, "group")
        day = day_field(word("rounds.day"), form_key(at, "group", "day"))
        sent = st.form_submit_button(word("rounds.keep_groups"), type="primary")
    payload: dict[str, object] = {
        "distance_m": distance,
        "crosswind_m_s": wind,
        "arrows": int(arrows),
    }
    if sent and diameter is not None and score is None:
        keep_seen(at, "group", {**payload, "diameter_m": diameter / 100.0}, day)
    elif sent and diameter is None and score is not None and face is not None:
        keep_seen(at, "group", {**payload, "score": score, "face_diameter_m": face / 100.0}, day)
    elif sent:
        st.error(word("rounds.group_what"))


def _eye(at: AtHand) -> None:
    word = at.word
    knowledge = load_knowledge(at.case.archer.hand, word.language)
    titles = {f.name: f.title for f in knowledge.findings.values() if f.kind == "eye"}
    with st.form(at.key("eye"), border=False):
        seen = st.multiselect(
            word("rounds.eye_help"),
            list(titles),
            format_func=lambda name: titles[name],
            key=form_key(at, "eye", "seen"),
        )
        groups = st.radio(
            word("rounds.eye_groups"),
            ("", "good", "poor"),
            format_func=lambda name: word(f"rounds.groups_{name or 'unsaid'}"),
            horizontal=True,
            key=form_key(at, "eye", "groups"),
        )
        day = day_field(word("rounds.day"), form_key(at, "eye", "day"))
        sent = st.form_submit_button(word("rounds.keep_eye"), type="primary")
    if sent and not (seen or groups):
        st.error(word("rounds.eye_nothing"))
    elif sent:
        keep_seen(at, "eye", {"seen": seen, "groups_judged": groups or None}, day)
