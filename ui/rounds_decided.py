"""What was decided so far, round by round, on a page; and a look back at an earlier version."""

from __future__ import annotations

from html import escape

import streamlit as st

from classify.casebook import Case, open_case
from classify.evidence_book import Decision
from ui.dash_words import Words
from ui.decided_words import decided_change
from ui.rounds_part import AtHand


def case_as_of(at: AtHand) -> Case:
    """Let the coach look back: the case as it stood with an earlier version.

    Parameters
    ----------
    at
        The case.

    Returns
    -------
    Case
        Of the newest version unless another is chosen.
    """
    numbers = [version.number for version in at.case.versions]
    if len(numbers) < 2:
        return at.case
    number = st.selectbox(
        at.word("rounds.as_of"),
        numbers,
        index=len(numbers) - 1,
        # In the address under the set-up's own name: another set-up has other versions.
        key=at.key("as-of"),
        bind="query-params",
        width=200,
    )
    if number == numbers[-1]:
        return at.case
    return open_case(at.book, at.case.archer, at.bow.id, number)


def decided_part(at: AtHand) -> None:
    """Draw the list of decisions, oldest first.

    Parameters
    ----------
    at
        The case.
    """
    if not at.case.decisions:
        return
    with st.expander(at.word("rounds.decided_title", count=len(at.case.decisions))):
        st.html(decided_html(at.case, at.word))


def decided_html(case: Case, word: Words) -> str:
    """Write the decisions of a case as a list.

    Parameters
    ----------
    case
        From the casebook.
    word
        The page's language.

    Returns
    -------
    str
        HTML.
    """
    numbers = {version.id: version.number for version in case.versions}
    items = "".join(
        f"<li><strong>{escape(one.dated)} · "
        f"{escape(word('rounds.decided_on', number=numbers[one.version_id]))}</strong> "
        f"{escape(decided_change(one, case.archer.hand, word.language))}"
        f"{escape(_outcome(one, word))}</li>"
        for one in case.decisions
    )
    return f"<ol class='ts-history'>{items}</ol>"


def _outcome(one: Decision, word: Words) -> str:
    return "" if one.outcome is None else " " + word(f"rounds.outcome_{one.outcome}")
