"""Language of the dashboard: chosen once, kept in the address of the page."""

from __future__ import annotations

import os
import re
from dataclasses import dataclass

import streamlit as st

from tracker.types import Message, Value, message
from ui.command_words import VARIABLE
from ui.words import ENTRY, LANGUAGES, catalogue, entries, say


@dataclass(frozen=True)
class Words:
    """Says the sentences of one language.

    Attributes
    ----------
    language
        Two letters, a key of `LANGUAGES`.
    """

    language: str

    def __call__(self, key: str, **values: Value) -> str:
        """Say one sentence.

        Parameters
        ----------
        key
            ``area.name`` in the catalogue.
        **values
            What its template needs.

        Returns
        -------
        str
            In this language.
        """
        return say(message(key, **values), self.language, "page")

    def tell(self, sentence: Message) -> str:
        """Say a sentence that something else made.

        Parameters
        ----------
        sentence
            Key and values.

        Returns
        -------
        str
            In this language.
        """
        return say(sentence, self.language, "page")

    def safe(self, sentence: Message) -> str:
        r"""Say a sentence where Streamlit reads Markdown: in `st.error`, `st.write`, a heading.

        Sentences carry names that somebody typed; a name must not become a link, a heading, or a
        picture that the browser fetches from elsewhere.

        Parameters
        ----------
        sentence
            Key and values.

        Returns
        -------
        str
            In this language; marks in its values stand as they are.

        Examples
        --------
        >>> from tracker.types import message
        >>> Words("en").safe(message("film.missing_file", path="![x](a)"))
        'There is no file \\!\\[x\\](a). Give the path of a film file.'
        """
        values = {
            name: _plain(value) if isinstance(value, str) and not _is_entry(name, value) else value
            for name, value in sentence.values.items()
        }
        return say(Message(sentence.key, values), self.language, "page")

    def title(self, area: str, name: str, instead: str) -> str:
        """Name something that may have come without a name in the catalogue.

        Parameters
        ----------
        area, name
            Its key.
        instead
            What to call it where the catalogue has no such key.

        Returns
        -------
        str
            In this language.
        """
        key = f"{area}.{name}"
        return say(message(key), self.language) if key in catalogue("en") else instead


_MARKS = re.compile(r"([\\`*_{}\[\]<>#!|~$:&])")
"""What could be read as Markdown, as a formula, as an icon's or a colour's name, or as HTML."""


def _is_entry(name: str, value: str) -> bool:
    """Tell whether `say` puts a field's own label for it: that is no text that somebody typed."""
    return name == ENTRY and value in entries("en", "page")


def _plain(text: str) -> str:
    return " ".join(_MARKS.sub(r"\\\1", text).split())


def page_words() -> Words:
    """Give the language that the coach chose, else that of the command that opened the page.

    Returns
    -------
    Words
        To say sentences with.
    """
    asked = (
        st.session_state.get("language"),
        st.query_params.get("language"),
        os.environ.get(VARIABLE),
    )
    return Words(next((str(wanted) for wanted in asked if wanted in LANGUAGES), "en"))
