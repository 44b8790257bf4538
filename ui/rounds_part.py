"""What every part of the rounds page needs: the case at hand, today's date, errors as sentences."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta

import streamlit as st

from classify.casebook import Case
from classify.evidence_book import record
from classify.evidence_payload import EvidenceKind
from classify.logbook import Bow, Version
from classify.logbook_file import LogbookFile
from tracker.types import InputError
from ui.dash_words import Words
from ui.shelf import data_folder


@dataclass(frozen=True, kw_only=True)
class AtHand:
    """The case that the page shows.

    Attributes
    ----------
    book, bow, case
        Logbook, set-up and all that is known about it.
    word
        The page's language.
    """

    book: LogbookFile
    bow: Bow
    case: Case
    word: Words

    def key(self, name: str) -> str:
        """Give a widget's key, one for each set-up.

        Parameters
        ----------
        name
            Of the widget.

        Returns
        -------
        str
            For Streamlit.
        """
        return f"{name}-{self.bow.id[:8]}"


def open_book(word: Words) -> LogbookFile:
    """Open the coach's logbook; the page says so if it can be read only.

    Parameters
    ----------
    word
        The page's language.

    Returns
    -------
    LogbookFile
        For this run of the page.

    Raises
    ------
    InputError
        If it cannot even be read.
    """
    book = LogbookFile(data_folder())
    if book.problem is not None:
        st.warning(word.safe(book.problem))
    return book


def form_changes(at: AtHand, form: str, typed: Mapping[str, str]) -> dict[str, str]:
    """Tell which fields of a sheet a person changed in a form, though others may work on it too.

    Parameters
    ----------
    at
        The case.
    form
        Name of the form; `form_base` was called when it was drawn.
    typed
        Text by field.

    Returns
    -------
    dict
        Fields that differ from what the form began with, and from what stands there now.

    Raises
    ------
    InputError
        Once, if somebody made another version since the form was drawn; the next time the changes
        are meant to go on top of it.
    """
    base, newest = form_base(at, form), at.case.newest
    told = at.key(f"{form}-told")
    if base.number != newest.number and st.session_state.get(told) != newest.number:
        st.session_state[told] = newest.number
        raise InputError("rounds.changed_since", number=base.number, newest=newest.number)
    return {
        name: text
        for name, text in typed.items()
        if text not in (base.sheet.typed.get(name, ""), newest.sheet.typed.get(name, ""))
    }


def form_base(at: AtHand, form: str) -> Version:
    """Give the version that a form was filled in from: the newest when it was first drawn.

    Parameters
    ----------
    at
        The case.
    form
        Name of the form.

    Returns
    -------
    Version
        The newest one, unless somebody made another since.
    """
    number = st.session_state.setdefault(at.key(f"{form}-from"), at.case.newest.number)
    return next((one for one in at.case.versions if one.number == number), at.case.newest)


def form_begins(at: AtHand, form: str) -> None:
    """Let a form begin from the newest version if nobody has it before them.

    Parameters
    ----------
    at
        The case.
    form
        Name of the form; called before it is drawn, with a field for the day called ``form-day``.
    """
    # What a field holds is let go when a page without it is drawn.
    if at.key(f"{form}-day") not in st.session_state:
        form_done(at, form)


def form_done(at: AtHand, form: str) -> None:
    """Let a form begin from the newest version the next time.

    Parameters
    ----------
    at
        The case.
    form
        Name of the form.
    """
    for end in ("from", "told"):
        st.session_state.pop(at.key(f"{form}-{end}"), None)


def form_key(at: AtHand, form: str, name: str) -> str:
    """Give the key of a widget in a form that begins anew once something was kept.

    Parameters
    ----------
    at
        The case.
    form
        Name of the form.
    name
        Of the widget.

    Returns
    -------
    str
        For Streamlit; another one after each `form_kept`, since a browser goes on showing what was
        typed under an old one.
    """
    times = st.session_state.get(at.key(f"{form}-kept"), 0)
    return at.key(f"{form}-{name}-{times}" if times else f"{form}-{name}")


def form_kept(at: AtHand, form: str) -> None:
    """Let a form begin anew, and the page say that something was kept.

    Parameters
    ----------
    at
        The case.
    form
        Name of the form.
    """
    counter = at.key(f"{form}-kept")
    st.session_state[counter] = st.session_state.get(counter, 0) + 1
    st.session_state[at.key("say-kept")] = True


def say_kept(at: AtHand) -> None:
    """Say once that something was kept.

    Parameters
    ----------
    at
        The case.
    """
    if st.session_state.pop(at.key("say-kept"), False):
        said = at.word("rounds.kept", number=at.case.newest.number)
        st.success(said)
        # A form that shrinks may leave its foot outside the window; this is always inside.
        st.toast(said)


FORMS: Mapping[str, EvidenceKind] = {
    "bare": "bare shaft",
    "powder": "powder",
    "group": "groups",
    "eye": "eye",
}
"""What each form adds."""


def keep_seen(at: AtHand, form: str, payload: Mapping[str, object], day: str) -> None:
    """Write down what was seen with the newest version, and let the form begin anew.

    Parameters
    ----------
    at
        The case.
    form
        A key of `FORMS`.
    payload
        As the logbook keeps it.
    day
        ISO date.
    """
    if attempt(at.word, lambda: record(at.book, at.case.newest, FORMS[form], payload, dated=day)):
        form_kept(at, form)
        st.rerun()


def wind_field(at: AtHand, form: str) -> float | None:
    """Ask for the cross wind.

    Parameters
    ----------
    at
        The case.
    form
        Name of the form.

    Returns
    -------
    float or None
        Metres a second; None for unknown.
    """
    return st.number_input(
        at.word("rounds.crosswind"), 0.0, 20.0, None, key=form_key(at, form, "wind"), width=200
    )


def day_field(label: str, key: str) -> str:
    """Ask for a day.

    Parameters
    ----------
    label, key
        Of the widget.

    Returns
    -------
    str
        ISO date; today unless another is chosen, and it is shown.
    """
    # a day is left for clocks that are ahead of each other
    last = datetime.now().astimezone().date() + timedelta(days=1)
    chosen = st.date_input(label, value="today", max_value=last, key=key, width=200)
    return chosen.isoformat() if isinstance(chosen, date) else ""


def attempt(word: Words, action: Callable[[], object]) -> bool:
    """Do something that a person may have to put right.

    Parameters
    ----------
    word
        The page's language.
    action
        Raises `InputError` with a sentence.

    Returns
    -------
    bool
        True if it was done; else the page says why not.
    """
    try:
        action()
    except InputError as mistake:
        st.error(word.safe(mistake.message))
        return False
    return True
