"""What a press enters: done before the page is drawn, so that no other press can come between.

Work goes in, what a button does when it is pressed comes out; a sentence that says why nothing was
kept waits until the page shows it.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Mapping, Sequence

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
        faults = mistake.faults if isinstance(mistake, FaultsError) else (mistake.message,)
        leave_trouble(place, *faults)
    except Exception:  # the coach gets a sentence, the terminal the whole story
        _LOG.exception("an entry failed")
        leave_trouble(place, message("pages.mistake"))
    else:
        return True
    return False


class FaultsError(InputError):
    """Several things that a person can put right, told together.

    Parameters
    ----------
    faults
        One at least.
    """

    def __init__(self, faults: Sequence[Message]) -> None:
        super().__init__(faults[0].key, **faults[0].values)
        self.faults = tuple(faults)


def check_all(typed: Mapping[str, str], read: Callable[[Mapping[str, str]], object]) -> None:
    """Look at every text of a form, where what reads them stops at the first fault.

    Parameters
    ----------
    typed
        Text by field.
    read
        Reads some of them or all.

    Raises
    ------
    FaultsError
        With a sentence for each text that cannot be read; what texts say together is looked at
        only if there is none.
    """
    faults = []
    for part in ({name: text} for name, text in typed.items()):
        try:
            read(part)
        except InputError as fault:
            faults.append(fault.message)
    none_wrong(faults)
    read(typed)


def none_wrong(faults: Sequence[Message]) -> None:
    """Go on only where nothing is wrong.

    Parameters
    ----------
    faults
        All that was found.

    Raises
    ------
    FaultsError
        If there is any.
    """
    if faults:
        raise FaultsError(faults)


def leave_trouble(place: str, *sentences: Message) -> None:
    """Leave sentences for a place of the page.

    Parameters
    ----------
    place
        Where they are shown.
    *sentences
        Why something was not kept.
    """
    st.session_state[_waiting(place)] = sentences


def show_trouble(place: str, word: Words) -> None:
    """Say once why something was not kept, if it was not.

    Parameters
    ----------
    place
        As `entering` has it.
    word
        The page's language.
    """
    for sentence in st.session_state.pop(_waiting(place), ()):
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


def short_enough(text: str, most: int) -> str:
    """Refuse a text that is too long; a field with a limit of its own drops it without a word.

    Parameters
    ----------
    text
        As typed.
    most
        Characters that are kept.

    Returns
    -------
    str
        The same.

    Raises
    ------
    InputError
        If it is longer.
    """
    if len(text) > most:
        raise InputError("pages.too_long", found=len(text), most=most)
    return text


def _waiting(place: str) -> str:
    return f"trouble-{place}"
