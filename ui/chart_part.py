"""A chart on its own, at the width of its place on a page."""

from __future__ import annotations

import hashlib
from functools import cache
from importlib.resources import files

import streamlit as st
from streamlit.components.v2.types import ComponentRenderer

from ui.charts import Picture
from ui.viewer import chart_css

_CSS = """
:host { display: block; container-type: inline-size; }
.figure { border: 1px solid var(--st-border-color); max-width: 46rem;
  border-radius: var(--st-base-radius); }
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
        js=(files("ui") / "chart_part.js").read_text("utf-8"),
    )


def show_chart(key: str, picture: Picture) -> None:
    """Show a chart.

    Parameters
    ----------
    key
        Of the widget.
    picture
        The chart.
    """
    digest = hashlib.sha256((picture.wide + picture.narrow).encode()).hexdigest()[:16]
    _component()(key=key, data={"id": digest, "wide": picture.wide, "narrow": picture.narrow})
