"""The next change on a page: what to do, why, what speaks for it; before and after; the report."""

from __future__ import annotations

import re
from html import escape

import streamlit as st

from classify.casebook import propose
from classify.evidence_book import Decision, decide, decide_change, set_outcome
from classify.knowledge import load_knowledge
from classify.outcome import Axis, Judged, decision_between, judge_change
from classify.proposal_json import proposal_json
from classify.reasoning import NextChange, Row
from classify.setup_change import WITHOUT_SHEET, suggested_changes
from tracker.types import InputError, message
from ui.dash_words import Words
from ui.decided_words import reason_in
from ui.entries import entering, show_trouble, typed_in
from ui.report import report_page
from ui.report_film import film_of
from ui.rounds_decided import case_as_of, decided_part
from ui.rounds_part import (
    AtHand,
    book_anew,
    day_field,
    day_in,
    form_base,
    form_begins,
    form_changes,
    form_done,
)
from ui.rounds_sheet import sheet_in, sheet_inputs

_REASONS = ("why", "first", "clip", "test", "stop", "care", "source")


def next_part(at: AtHand) -> None:
    """Draw the proposal, its table, and the form that says it was done.

    Parameters
    ----------
    at
        The case.
    """
    word = at.word
    case = case_as_of(at)
    try:
        proposal = propose(case, word.language)
    except InputError as mistake:
        st.error(word.safe(mistake.message))
        return
    fresh = "" if case is not at.case else _fresh_words(at)
    if fresh:
        st.html(f'<p class="ts-note">{escape(fresh)}</p>')
    st.html(proposal_html(proposal, word))
    with st.expander(word("rounds.table_title")):
        st.html(_table_html(proposal.table, word))
    if case is at.case:
        _done(at, proposal)
    decided_part(at)


def _fresh_words(at: AtHand) -> str:
    """Say that a change was just made, as long as nothing was seen since; blank otherwise."""
    newest = at.case.newest
    made = any(decision.to_version_id == newest.id for decision in at.case.decisions)
    if at.case.seen[-1] or not made:
        return ""
    change = reason_in(newest.reason, at.case.archer.hand, at.word.language)
    return at.word("rounds.next_fresh", number=newest.number, change=change)


def proposal_html(proposal: NextChange, word: Words) -> str:
    """Write a proposal as a card.

    Parameters
    ----------
    proposal
        From the reasoning.
    word
        The page's language.

    Returns
    -------
    str
        HTML.
    """
    texts = {
        "why": f"{proposal.cause_title}. {proposal.why}",
        "first": proposal.before_others,
        "clip": proposal.expect_clip,
        "test": proposal.expect_test,
        "stop": proposal.stop,
        "care": proposal.caution,
        "source": proposal.source,
    }
    lines = "".join(
        f'<div class="ts-say ts-{name}"><dt>{escape(word(f"tuning.head_{name}"))}</dt>'
        f"<dd>{escape(texts[name])}</dd></div>"
        for name in _REASONS
        if texts[name]
    )
    conflicts = "".join(
        f'<p class="ts-caution">{escape(word("tuning.head_conflict"))} '
        f"{escape(word.tell(text))}</p>"
        for text in proposal.conflicts
    )
    notes = "".join(
        f"<li>{escape(word.tell(text))}</li>"
        for text in (*proposal.passed_over, *proposal.findings.notes)
    )
    later = ""
    if proposal.later:
        later = f"{word('tuning.head_later')} {'; '.join(proposal.later)}"
    return (
        f'<section class="ts-card ts-first"><h2>{escape(word("tuning.head_next"))}</h2>'
        f'<p class="ts-change">{escape(proposal.change)}</p>{conflicts}<dl>{lines}</dl>'
        f'<ul class="ts-reasons">{notes}</ul><p>{escape(later)}</p></section>'
    )


def _table_html(rows: tuple[Row, ...], word: Words) -> str:
    act_from = load_knowledge(None).act_from
    parts = [f'<p class="ts-note">{escape(word("tuning.table_intro", act_from=act_from))}</p>']
    for row in rows:
        items = "".join(
            f"<li>{weight:+.1f} {escape(title)}</li>" for _, title, weight in (*row.pro, *row.con)
        )
        parts.append(
            f"<details><summary><strong>{row.support:+.1f}</strong> {escape(row.title)}</summary>"
            f"<ul>{items}</ul></details>"
        )
    return "".join(parts)


def _done(at: AtHand, proposal: NextChange) -> None:
    word = at.word
    changes_sheet = _changes_sheet(proposal)
    # One form for each proposal: its fields begin with what this one suggests.
    form = f"done-{proposal.cure}"
    form_begins(at, form)
    with st.expander(word("rounds.done_title")), st.form(at.key("done"), border=False):
        key = ""
        if proposal.cure in WITHOUT_SHEET:
            st.text_input(word("rounds.done_note"), key=at.key("done-note"))
        if changes_sheet:
            st.html(f'<p class="ts-note">{escape(word("rounds.done_help"))}</p>')
            base = form_base(at, form)
            earlier = [version for version in at.case.versions if version.number < base.number]
            suggested = suggested_changes(
                proposal.cure,
                proposal.amount,
                base.sheet,
                before=earlier[-1].sheet if earlier else None,
            )
            for name, text in suggested.items():
                field = word(f"logbook.field_{name}")
                what = "done_suggested" if text else "done_cleared"
                st.write(word.safe(message(f"rounds.{what}", field=field, text=text)))
            # What a field shows is what is kept, so the fields themselves say what follows. A
            # browser goes on showing what stood under an old key: each version has its own.
            key = at.key(f"{form}-{base.number}")
            sheet_inputs(key, base.sheet, word, filled=suggested)
        day_field(word("rounds.day"), at.key(f"{form}-day"))
        st.form_submit_button(
            word("rounds.done_send"),
            type="primary",
            on_click=entering(
                at.key("done"), lambda: _write_down(at, proposal, form, key), once=True
            ),
        )
    show_trouble(at.key("done"), word)


def _changes_sheet(proposal: NextChange) -> bool:
    return not proposal.is_test and proposal.cure != "keep"


def _write_down(at: AtHand, proposal: NextChange, form: str, key: str) -> None:
    """Keep that the proposal which the page shows was followed; `key` is of its sheet's fields."""
    said = proposal_json(proposal, at.word.tell)
    day = day_in(at.key(f"{form}-day"))
    if not _changes_sheet(proposal):
        decide(
            book_anew(), at.case.newest, cure=proposal.cure, amount=proposal.amount,
            is_test=proposal.is_test, dated=day, proposal=said,
        )  # fmt: skip
    else:
        now = at.anew()
        changes, note = form_changes(now, form, sheet_in(key)), typed_in(at.key("done-note"))
        in_words = proposal.cure in WITHOUT_SHEET
        if not changes and not (in_words and note):
            raise InputError("rounds.done_in_words" if in_words else "rounds.done_nothing")
        decide_change(
            now.book, now.case.newest, changes, cure=proposal.cure, amount=proposal.amount,
            dated=day, proposal=said, reason=proposal.change, note=note if in_words else "",
        )  # fmt: skip
    form_done(at, form)
    st.session_state.pop(at.key("done-note"), None)


def compare_part(at: AtHand) -> None:
    """Draw what the last change did to the swing.

    Parameters
    ----------
    at
        The case.
    """
    word, versions = at.word, at.case.versions
    if len(versions) < 2:
        st.write(word("logbook.one_version"))
        return
    left, right = st.columns(2)
    numbers = [version.number for version in versions]
    before = left.selectbox(
        word("rounds.before"), numbers, index=len(numbers) - 2, key=at.key("before")
    )
    after = right.selectbox(
        word("rounds.after"), numbers, index=len(numbers) - 1, key=at.key("after")
    )
    axes: tuple[Axis, ...] = ("across", "up_down")
    first, last = versions[numbers.index(before)], versions[numbers.index(after)]
    decision = decision_between(at.case, first, last)
    for axis in axes:
        st.html(f"<h3>{escape(word(f'rounds.axis_{axis}'))}</h3>")
        try:
            found = judge_change(at.book, first, last, decision, axis=axis)
        except InputError as mistake:
            st.write(word.safe(mistake.message))
            continue
        for sentence in found.sentences:
            st.html(f'<p class="ts-difference">{escape(word.tell(sentence))}</p>')
        if decision is not None:
            _keep_outcome(at, decision, axis, found)


def _keep_outcome(at: AtHand, decision: Decision, axis: Axis, found: Judged) -> None:
    """Offer to write the outcome beside the change."""
    outcome = found.outcome
    if outcome is None:
        return
    if decision.outcome == outcome:
        st.html(f'<p class="ts-note">{escape(at.word(f"rounds.outcome_{outcome}"))}</p>')
        return
    place = at.key(f"outcome-{axis}")
    st.button(
        at.word("rounds.keep_outcome"),
        key=place,
        on_click=entering(place, lambda: set_outcome(book_anew(), decision, outcome)),
    )
    show_trouble(place, at.word)


def report_part(at: AtHand) -> None:
    """Offer the one-page report.

    Parameters
    ----------
    at
        The case.
    """
    word = at.word
    st.html(f'<p class="ts-note">{escape(word("rounds.report_help"))}</p>')
    if st.button(word("rounds.report_make"), type="primary", key=at.key("report")):
        with st.spinner(word("rounds.report_making")):
            # Slow to load, and seldom needed.
            from ui.report_html import report_html  # noqa: PLC0415
            from ui.report_pdf import report_pdf  # noqa: PLC0415

            film = film_of(at.book, at.case)
            page = report_page(at.book, at.case, at.bow.name, language=word.language, film=film)
            st.session_state[at.key("report-files")] = (report_html(page), report_pdf(page))
    made = st.session_state.get(at.key("report-files"))
    if made is None:
        return
    html, pdf = made
    left, right = st.columns(2)
    whose = re.sub(r"\W+", "-", at.case.archer.name).strip("-")
    name = f"tailsway-{whose}-{at.case.newest.dated}"
    left.download_button(
        word("rounds.report_pdf"), pdf, f"{name}.pdf", "application/pdf", key=at.key("pdf")
    )
    right.download_button(
        word("rounds.report_html"), html, f"{name}.html", "text/html", key=at.key("html")
    )
