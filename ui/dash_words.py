"""Language of the dashboard: chosen once, kept in the address of the page."""

from __future__ import annotations

import os
from dataclasses import dataclass

import streamlit as st

from tracker.types import Message, Value, message
from ui.command_words import VARIABLE
from ui.words import LANGUAGES, catalogue, say


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
        return say(message(key, **values), self.language)

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
        return say(sentence, self.language)

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
