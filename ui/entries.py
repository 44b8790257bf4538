"""What a press enters: done before the page is drawn, so that no other press can come between.

Work goes in, what a button does when it is pressed comes out; a sentence that says why nothing was
kept waits until the page shows it.
"""

from __future__ import annotations

import logging
from collections.abc import Callable

import streamlit as st

from tracker.types import InputError, Message, message
from ui.dash_words import Words

_LOG = logging.getLogger("tailsway.dashboard")


def entering(place: str, work: Callable[[], object], *, once: bool = False) -> Callable[[], None]:
    """Give a widget's callback, which runs before anything is drawn and is not interrupted.

    The page's own run would be too late: it ends wherever it is when something else is pressed.

    Parameters
    ----------
    place
        Where the page shows what went wrong, for `show_trouble`.
    work
        Reads what was typed from the session by the widgets' keys and keeps it; an `InputError`
        says why it did not.
    once
        Whether a second press adds something, or is refused: then one that comes before the page
        could show what the first did, as that of a double click, does nothing.

    Returns
    -------
    callable
        For ``on_click`` or ``on_change``.
    """
    done = False

    def enter() -> None:
        nonlocal done
        if not (once and done):
            done = _entered(place, work)

    return enter


def _entered(place: str, work: Callable[[], object]) -> bool:
    st.session_state.pop(_waiting(place), None)
    try:
        work()
    except InputError as mistake:
        leave_trouble(place, mistake.message)
    except Exception:  # the coach gets a sentence, the terminal the whole story
        _LOG.exception("an entry failed")
        leave_trouble(place, message("pages.mistake"))
    else:
        return True
    return False


def leave_trouble(place: str, sentence: Message) -> None:
    """Leave a sentence for a place of the page.

    Parameters
    ----------
    place
        Where it is shown.
    sentence
        Why something was not kept.
    """
    st.session_state[_waiting(place)] = sentence


def show_trouble(place: str, word: Words) -> None:
    """Say once why something was not kept, if it was not.

    Parameters
    ----------
    place
        As `entering` has it.
    word
        The page's language.
    """
    sentence: Message | None = st.session_state.pop(_waiting(place), None)
    if sentence is not None:
        st.error(word.safe(sentence))


def typed_in(key: str) -> str:
    """Give what stands in a text field.

    Parameters
    ----------
    key
        Of the widget, as it was drawn.

    Returns
    -------
    str
        Without blanks around it; empty where nothing was typed.
    """
    return str(st.session_state.get(key) or "").strip()


def _waiting(place: str) -> str:
    return f"trouble-{place}"
