"""A chart on its own, at the width of its place on a page."""

from __future__ import annotations

import hashlib
from functools import cache
from importlib.resources import files

import streamlit as st
from streamlit.components.v2.types import ComponentRenderer

from tracker.types import message
from ui.charts import Picture
from ui.viewer import chart_css, saving_js
from ui.words import say

_CSS = """
:host { display: block; container-type: inline-size; }
.figure { position: relative; border: 1px solid var(--st-border-color); max-width: 46rem;
  border-radius: var(--st-base-radius); }
.save { position: absolute; top: 2px; right: 2px; min-height: 1.9rem; min-width: 1.9rem;
  padding: 0 0.4rem; font: 600 0.85rem var(--st-font); color: var(--st-text-color); opacity: 0.75;
  background: var(--st-secondary-background-color); border: 1px solid var(--st-border-color);
  border-radius: var(--st-button-radius); cursor: pointer; }
.save:hover, .save:focus-visible { opacity: 1; }
.save:focus-visible { outline: 3px solid var(--st-link-color); outline-offset: 2px; }
svg { display: block; width: 100%; height: auto; }
.wide { display: none; }
@container (min-width: 440px) { .wide { display: block; } .narrow { display: none; } }
"""


@cache
def _component() -> ComponentRenderer:
    return st.components.v2.component(
        "tailsway_chart",
        html='<div class="figure"></div>',
        css=_CSS + chart_css(),
        js=saving_js() + (files("ui") / "chart_part.js").read_text("utf-8"),
    )


def show_chart(key: str, picture: Picture, language: str) -> None:
    """Show a chart, which can be saved as a picture.

    Parameters
    ----------
    key
        Of the widget.
    picture
        The chart.
    language
        Two letters.
    """
    digest = hashlib.sha256((picture.wide + picture.narrow).encode()).hexdigest()[:16]
    data = {
        "id": digest,
        "name": picture.name,
        "wide": picture.wide,
        "narrow": picture.narrow,
        "chart_css": chart_css(),
        "save": say(message("pages.viewer_save"), language),
    }
    _component()(key=key, data=data)
