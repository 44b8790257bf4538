"""The teaching page: a sandbox, a naming exercise, a sheet for each disturbance."""

from __future__ import annotations

import streamlit as st

from tracker.types import InputError
from ui.dash_words import page_words
from ui.linked import linked_choice
from ui.teach_naming import naming
from ui.teach_sandbox import sandbox
from ui.teach_sheets import sheets

_PARTS = {"sandbox": sandbox, "naming": naming, "sheets": sheets}


def show_teach() -> None:
    """Draw the page."""
    word = page_words()
    st.title(word("teach.title"))
    part = linked_choice(
        st.container(),
        "lesson",
        word("teach.what"),
        list(_PARTS),
        lambda name: word(f"teach.tab_{name}"),
    )
    try:
        _PARTS[part](word)
    except InputError as mistake:
        st.error(word.safe(mistake.message))
