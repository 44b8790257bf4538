"""What every part of the rounds page needs: the case at hand, today's date, errors as sentences."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date

import streamlit as st

from classify.casebook import Case
from classify.logbook import Bow
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
    chosen = st.date_input(label, value="today", key=key, width=200)
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
