"""What every part of the rounds page needs: the case at hand, today's date, errors as sentences."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

import streamlit as st

from classify.casebook import Case, open_case
from classify.evidence_book import record
from classify.evidence_payload import EvidenceKind
from classify.logbook import Bow, Version
from classify.logbook_file import LogbookFile
from tracker.types import InputError
from ui.dash_words import Words
from ui.entries import entering
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

    def anew(self) -> AtHand:
        """Open logbook and case again: somebody else may have written since the page was drawn.

        Returns
        -------
        AtHand
            The same set-up as it stands now.
        """
        book = book_anew()
        return replace(self, book=book, case=open_case(book, self.case.archer, self.bow.id))


def book_anew() -> LogbookFile:
    """Open the coach's logbook for one entry, which may find it otherwise than the page did.

    Returns
    -------
    LogbookFile
        In the folder that is in use now.
    """
    return LogbookFile(data_folder())


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
    book = book_anew()
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
    times = _times_kept(at, form)
    return at.key(f"{form}-{name}-{times}" if times else f"{form}-{name}")


def form_kept(at: AtHand, form: str, number: int | None = None) -> None:
    """Let a form begin anew, and the page say that something was kept.

    Parameters
    ----------
    at
        The case.
    form
        Name of the form.
    number
        Of the version that it was kept with, if that is not the newest.
    """
    st.session_state[at.key(f"{form}-kept")] = _times_kept(at, form) + 1
    st.session_state[at.key("say-kept")] = number or at.case.newest.number


def _times_kept(at: AtHand, form: str) -> int:
    times: int = st.session_state.get(at.key(f"{form}-kept"), 0)
    return times


def form_entering(at: AtHand, form: str, work: Callable[[], object]) -> Callable[[], None]:
    """Give what the button of a form does that begins anew once something was kept.

    Parameters
    ----------
    at
        The case.
    form
        Name of the form; `show_trouble` of ``at.key(form)`` says why nothing was kept.
    work
        Keeps what stands in the fields, whose keys `form_key` gives.

    Returns
    -------
    callable
        For ``on_click``.
    """
    drawn = _times_kept(at, form)

    def keep() -> None:
        # A second press may come before the page could show that the first was enough.
        if _times_kept(at, form) == drawn:
            work()
            form_kept(at, form)

    return entering(at.key(form), keep)


def say_kept(at: AtHand) -> None:
    """Say once that something was kept.

    Parameters
    ----------
    at
        The case.
    """
    number = st.session_state.pop(at.key("say-kept"), None)
    if number is not None:
        said = at.word("rounds.kept", number=number)
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


def keep_seen(at: AtHand, form: str, payload: Mapping[str, object]) -> None:
    """Write down what was seen with the version that the page shows.

    Parameters
    ----------
    at
        The case.
    form
        A key of `FORMS`; its day stands in the field called ``day``.
    payload
        As the logbook keeps it.
    """
    day = day_in(form_key(at, form, "day"))
    record(book_anew(), at.case.newest, FORMS[form], payload, dated=day)


def day_field(label: str, key: str) -> None:
    """Ask for a day; today stands there until another is chosen.

    Parameters
    ----------
    label, key
        Of the widget.
    """
    # a day is left for clocks that are ahead of each other
    last = datetime.now().astimezone().date() + timedelta(days=1)
    st.date_input(label, value="today", max_value=last, key=key, width=200)


def day_in(key: str) -> str:
    """Give the day that stands in a field.

    Parameters
    ----------
    key
        Of the widget, as it was drawn.

    Returns
    -------
    str
        ISO date; empty if none stands there.
    """
    chosen = st.session_state.get(key)
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
