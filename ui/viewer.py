"""Film and curves side by side with one cursor: play, pause, step by frame, scrub."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from itertools import zip_longest

import numpy as np
import streamlit as st
from streamlit.components.v2.types import ComponentRenderer

from tracker.types import FloatArray, message
from ui.charts import Picture
from ui.curves import Curves
from ui.films import SLOW, Film
from ui.films_served import film_address
from ui.words import say

_NEAR_STEPS = 0.75
"""Of a flight's steps: a sample speaks for times nearer to it than to the frames beside it."""


@cache
def _component() -> ComponentRenderer:
    here = files("ui")
    css = (here / "viewer.css").read_text("utf-8") + chart_css()
    return st.components.v2.component(
        "tailsway_viewer",
        html='<div class="viewer"></div>',
        css=css,
        js=saving_js() + (here / "viewer.js").read_text("utf-8"),
    )


@cache
def chart_css() -> str:
    """Give the style sheet of the charts.

    Returns
    -------
    str
        With the page's colours as variables.
    """
    return (files("ui") / "chart.css").read_text("utf-8")


@cache
def saving_js() -> str:
    """Give the script that saves a chart as a picture, to stand before a component's own.

    Returns
    -------
    str
        JavaScript.
    """
    return (files("ui") / "save_picture.js").read_text("utf-8")


@dataclass(frozen=True, kw_only=True, eq=False)
class Sketch:
    """An arrow to be drawn from behind instead of a film.

    Attributes
    ----------
    shape_mm
        (n, 3, 2) of nock, middle and point at each step of the cursor.
    reach_mm
        From the middle of the drawing to its edge.
    turns_per_s
        How fast the vanes turn.
    """

    shape_mm: FloatArray
    reach_mm: float
    turns_per_s: float


def show_viewer(
    key: str,
    *,
    curves: tuple[Curves, ...],
    films: tuple[Film, ...],
    pictures: tuple[tuple[str, Picture], ...],
    language: str,
    sketch: Sketch | None = None,
    numbers: bool = True,
) -> None:
    """Show films and charts that share a cursor.

    Parameters
    ----------
    key
        Of the widget; its own for each place on a page.
    curves
        One flight, or two in step; the first sets the steps of the cursor.
    films
        One for each flight, or none.
    pictures
        Column (``left`` or ``right``) and chart.
    language
        Two letters.
    sketch
        Drawn in the place of a film.
    numbers
        False hides the swing's numbers, for eyes that shall judge by themselves.
    """
    content = viewer_data(curves, films, pictures, language, sketch=sketch)
    if not numbers:
        content["readouts"] = [""] * len(steps(curves, films))
    _component()(key=key, data=content)


def viewer_data(
    curves: tuple[Curves, ...],
    films: tuple[Film, ...],
    pictures: tuple[tuple[str, Picture], ...],
    language: str,
    *,
    sketch: Sketch | None = None,
) -> dict[str, object]:
    """Pack what the browser needs.

    Parameters
    ----------
    curves, films, pictures, language, sketch
        As for `show_viewer`.

    Returns
    -------
    dict
        Ready for JSON; ``id`` changes with the content.
    """
    times = steps(curves, films)
    data: dict[str, object] = {
        "times": times,
        "slow": SLOW,
        "readouts": [_readout(curves, films, time, language) for time in times],
        "films": [
            {
                "address": film_address(film.mp4),
                "starts": float(film.time_s[0]),
                "seeks": np.round(film.middles_s(times), 5).tolist(),
                "says": film.says,
                "caption": film.caption,
            }
            for film in films
        ],
        "legend": say(message("pages.film_legend"), language)
        if any(film.drawn_on for film in films)
        else "",
        "pictures": [_packed(column, picture, curves[0]) for column, picture in pictures],
        "sketch": None if sketch is None else _packed_sketch(sketch, language),
        "loops": sketch is not None,
        "chart_css": chart_css(),
        "speed": "0.5" if sketch is None else "1",
        "speeds": [
            {
                "rate": rate,
                "name": say(message("pages.viewer_slower", times=SLOW / float(rate)), language),
            }
            for rate in ("2", "1", "0.5", "0.25", "0.125")
        ],
        "words": {
            name: say(message(f"pages.viewer_{name}"), language)
            for name in ("play", "pause", "back", "forward", "scrub", "speed", "save")
        },
    }
    packed = json.dumps(data, sort_keys=True).encode()
    return {"id": hashlib.sha256(packed).hexdigest()[:16], **data}


def _packed_sketch(sketch: Sketch, language: str) -> dict[str, object]:
    ring = say(message("pages.sketch_ring", mm=sketch.reach_mm / 2), language)
    return {
        "shape": np.round(sketch.shape_mm, 3).tolist(),
        "reach": sketch.reach_mm,
        "roll": 2 * np.pi * sketch.turns_per_s,
        "ring": ring,
        "says": say(message("pages.sketch_says"), language),
    }


def _packed(column: str, picture: Picture, curves: Curves) -> dict[str, object]:
    trail = None
    if picture.trail is not None:
        times = curves.time_s.tolist()
        trail = [[time, x, y] for time, (x, y) in zip(times, picture.trail, strict=True)]
    return {
        "column": column,
        "name": picture.name,
        "wide": picture.wide,
        "narrow": picture.narrow,
        "wide_box": picture.wide_box,
        "narrow_box": picture.narrow_box,
        "times": picture.times_s,
        "trail": trail,
    }


def steps(curves: tuple[Curves, ...], films: tuple[Film, ...] = ()) -> list[float]:
    """Give the times at which the cursor can stand.

    Parameters
    ----------
    curves
        One flight, or two in step.
    films
        One for each flight, or none.

    Returns
    -------
    list of float
        Every sample's time, and every frame's of the films, so that a frame in which the nock was
        not seen can be looked at as well; of two flights, times closer than half a millisecond are
        one step.
    """
    near = 1e-6 if len(curves) == 1 else 0.0005
    clocks = [one.time_s for one in curves] + [film.time_s for film in films]
    every = sorted(float(time) for clock in clocks for time in clock)
    kept = every[:1]
    for time in every[1:]:
        if time - kept[-1] > near:
            kept.append(time)
    return kept


def _readout(
    curves: tuple[Curves, ...], films: tuple[Film, ...], time: float, language: str
) -> str:
    said = [
        _readout_one(flight, film, time, language, alone=len(curves) == 1)
        for flight, film in zip_longest(curves, films)
    ]
    if len(curves) > 1:
        both = message("pages.viewer_readout_two", time=time, first=said[0], second=said[1])
        said = [say(both, language)]
    return said[0].replace("-", "−")


def _readout_one(
    flight: Curves, film: Film | None, time: float, language: str, *, alone: bool
) -> str:
    apart = np.abs(flight.time_s - time)
    index = int(apart.argmin())
    step_s = float(np.median(np.diff(flight.time_s)))
    unseen = "" if apart[index] < _NEAR_STEPS * step_s else "_unseen"
    frames = flight if film is None else film
    across, up_down = flight.swing[index]
    values: dict[str, float | str] = {
        "time": time,
        "frame": int(frames.frame[int(np.abs(frames.time_s - time).argmin())]),
        # nought is never less than nought
        "across": round(float(across), 1) + 0.0,
        "up_down": round(float(up_down), 1) + 0.0,
        "unit": flight.unit,
    }
    key = "pages.viewer_readout" if alone else "pages.viewer_readout_one"
    return say(message(f"{key}{unseen}", **values), language)
