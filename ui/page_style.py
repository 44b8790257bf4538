"""Puts the style sheet of our own parts on the page, with the colours of the theme in use."""

from __future__ import annotations

from functools import cache
from importlib.resources import files
from urllib.parse import quote

import streamlit as st

from ui.command_open import UPLOAD_LIMIT_MB
from ui.dash_words import Words
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

_TOOL_SAYS = {
    "choose-options": "choose_options",
    "select-all": "select_all",
    "no-results": "no_results",
    "enter-sends": "enter_sends",
    "enter-applies": "enter_applies",
    "file-refused": "file_refused",
}
"""Sentences that stand where the tool that draws the page has English ones of its own."""

# A wide wave, a narrow quick one, a wave that runs up the page, a straight line, a struck ring.
_SHAPES = {
    "fishtailing": "M4 24 C10 2 18 2 24 24 S38 46 44 24",
    "minnowing": "M4 24 l4 -8 l5 16 l5 -16 l5 16 l5 -16 l5 16 l5 -16 l6 8",
    "porpoising": "M24 4 C46 10 46 18 24 24 S2 38 24 44",
    "clean": "M4 24 H44",
    "none": "M24 6 a18 18 0 1 0 0.1 0 M11 37 L37 11",
}


def _shape(path: str) -> str:
    svg = (
        "<svg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 48 48'>"
        f"<path d='{path}' fill='none' stroke='black' stroke-width='4' "
        "stroke-linecap='round' stroke-linejoin='round'/></svg>"
    )
    return f'url("data:image/svg+xml,{quote(svg)}")'


@cache
def _sheet() -> str:
    shapes = "".join(
        f".ts-shape-{name}{{mask-image:{_shape(path)};-webkit-mask-image:{_shape(path)};}}"
        for name, path in _SHAPES.items()
    )
    return (files("ui") / "page.css").read_text("utf-8") + shapes


def put_style(word: Words) -> None:
    """Put the style sheet on the page.

    Parameters
    ----------
    word
        Language of what the sheet says instead of the tool that draws the page, which is English.
    """
    theme = DARK if st.context.theme.type == "dark" else LIGHT
    own = {f"st-{name}": theme[key] for key, name in _NAMES.items()}
    own["ts-choose-file"] = _quoted(word("pages.upload_choose"))
    own["ts-menu"] = _quoted(word("pages.menu"))
    own["ts-file-limit"] = _quoted(word("pages.upload_limit", most_gb=UPLOAD_LIMIT_MB // 1024))
    own |= {f"ts-{name}": _quoted(word(f"pages.tool_{key}")) for name, key in _TOOL_SAYS.items()}
    said = "".join(f"--{name}:{value};" for name, value in own.items())
    st.html(f"<style>:root{{{said}}}{_sheet()}</style>")


def _quoted(text: str) -> str:
    """Write a text as a string of a style sheet, in letters that end neither it nor the sheet."""
    return '"' + "".join(c if c.isalnum() else f"\\{ord(c):x} " for c in text) + '"'
