"""Puts the style sheet of our own parts on the page, with the colours of the theme in use."""

from __future__ import annotations

from functools import cache
from importlib.resources import files

import streamlit as st

from ui.theme import DARK, LIGHT

_NAMES = {
    "primaryColor": "primary-color",
    "backgroundColor": "background-color",
    "secondaryBackgroundColor": "secondary-background-color",
    "textColor": "text-color",
    "linkColor": "link-color",
    "borderColor": "border-color",
    "blueColor": "blue-color",
    "orangeColor": "orange-color",
    "greenColor": "green-color",
    "violetColor": "violet-color",
    "grayColor": "gray-color",
    "redColor": "red-color",
    "yellowColor": "yellow-color",
}


@cache
def _sheet() -> str:
    return (files("ui") / "page.css").read_text("utf-8")


def put_style() -> None:
    """Put the style sheet on the page."""
    theme = DARK if st.context.theme.type == "dark" else LIGHT
    colours = "".join(f"--st-{name}:{theme[key]};" for key, name in _NAMES.items())
    st.html(f"<style>:root{{{colours}}}{_sheet()}</style>")
