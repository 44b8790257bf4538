"""The sandbox: swings set by hand, seen from behind at once, with curve and label beside them."""

from __future__ import annotations

from html import escape

import numpy as np
import streamlit as st

from classify.imagined import Imagined, arrow_shape_mm, imagine
from classify.physics import folded_hz
from classify.types import Reading
from ui.charts import Picture, swing_picture
from ui.curves import curves_of
from ui.dash_words import Words
from ui.verdict import verdict_html
from ui.viewer import Sketch, show_viewer

FRAME_RATES = (60, 120, 240, 480)
TURNS_PER_S = 25.0
"""Roll of the drawn arrow; a usual rate, chosen here."""

# Slider: lowest, highest, where it starts, step.
_SLIDERS = {
    "yaw_mm": (0.0, 40.0, 15.0, 0.5),
    "pitch_mm": (0.0, 40.0, 0.0, 0.5),
    "slow_hz": (1.5, 5.0, 2.8, 0.1),
    "fast_mm": (0.0, 10.0, 0.0, 0.25),
    "fast_hz": (8.0, 35.0, 20.0, 0.5),
    "bending_mm": (0.0, 6.0, 1.5, 0.25),
    "bending_hz": (55.0, 100.0, 80.0, 1.0),
    "camera_distance_m": (1.0, 6.0, 2.5, 0.25),
}


@st.fragment
def sandbox(word: Words) -> None:
    """Draw the sandbox.

    Parameters
    ----------
    word
        The page's language.
    """
    st.html(f'<p class="ts-note">{escape(word("teach.sandbox_help"))}</p>')
    # The sliders come first: on a phone, below the flight, they would be out of sight of it.
    handles, shown = st.columns([1, 2])
    with handles, st.container(key="sandbox-handles"):
        flight = _sliders(word)
    reading = imagine(flight)
    with shown:
        st.html(verdict_html(reading, word))
        for name, mm, hz in (
            ("bending", flight.bending_mm, flight.bending_hz),
            ("fast", flight.fast_mm, flight.fast_hz),
        ):
            if mm > 0 and hz > flight.frame_hz / 2:
                seen = float(folded_hz(hz, flight.frame_hz))
                told = {"frame_hz": flight.frame_hz, "true_hz": hz, "seen_hz": seen}
                st.warning(word(f"teach.folded_{name}", **told))
        show_imagined("viewer-sandbox", flight, reading, word, with_curves=True)


def _sliders(word: Words) -> Imagined:
    values = {
        name: st.slider(
            word(f"teach.{name}"),
            *limits,
            format="%g",
            key=f"sandbox-{name}",
            bind="query-params",
        )
        for name, limits in _SLIDERS.items()
    }
    rate = st.select_slider(
        word("teach.frame_hz"),
        FRAME_RATES,
        value=240,
        key="sandbox-frame_hz",
        bind="query-params",
    )
    return Imagined(
        yaw_mm=values["yaw_mm"],
        pitch_mm=values["pitch_mm"],
        slow_hz=values["slow_hz"],
        fast_mm=values["fast_mm"],
        fast_hz=values["fast_hz"],
        bending_mm=values["bending_mm"],
        bending_hz=values["bending_hz"],
        frame_hz=rate,
        camera_distance_m=values["camera_distance_m"],
    )


def show_imagined(
    key: str, flight: Imagined, reading: Reading, word: Words, *, with_curves: bool
) -> None:
    """Show a flight that was set by hand.

    Parameters
    ----------
    key
        Of the widget.
    flight, reading
        The flight and what a clip of it would tell.
    word
        The page's language.
    with_curves
        False shows the drawing alone, for eyes that shall judge by themselves.
    """
    curves = curves_of(reading)
    if curves is None:
        return
    shape = arrow_shape_mm(flight, curves.time_s)
    # Round and the same for small changes, so that the drawing does not breathe with a slider.
    reach = float(max(10.0, 10.0 * np.ceil(np.abs(shape).max() / 10.0 + 0.6)))
    pictures: list[tuple[str, Picture]] = []
    if with_curves:
        made = [swing_picture(reading, axis, word.language) for axis in (0, 1)]
        pictures = [("right", picture) for picture in made if picture is not None]
    show_viewer(
        key,
        curves=(curves,),
        films=(),
        pictures=tuple(pictures),
        language=word.language,
        numbers=with_curves,
        sketch=Sketch(shape_mm=shape, reach_mm=reach, turns_per_s=TURNS_PER_S),
    )
