"""The menu of pages at narrow widths: named in the page's language, out of the way once used."""

from __future__ import annotations

from functools import cache
from importlib.resources import files

import streamlit as st
from streamlit.components.v2.types import ComponentRenderer

from ui.dash_words import Words


@cache
def _component() -> ComponentRenderer:
    return st.components.v2.component(
        "tailsway_menu",
        html="<div></div>",
        js=(files("ui") / "menu.js").read_text("utf-8"),
    )


def mind_menu(word: Words) -> None:
    """Have the menu close after a choice, and name its buttons.

    Parameters
    ----------
    word
        The page's language.
    """
    data = {"open": word("pages.menu"), "shut": word("pages.menu_shut")}
    _component()(key="menu", data=data)
