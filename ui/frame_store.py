"""Single frames of a film as JPEG, to click on: decoded in runs, and kept for a while."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import streamlit as st

from classify.apart import frames_of
from ui.kept_readings import Kept
from ui.picker import Still
from ui.stills import scene_picture

RUN = 24
"""Frames that are decoded together; stepping inside a run costs nothing. Chosen here."""


@st.cache_resource(show_spinner=False)
def _runs() -> Kept[Mapping[int, bytes]]:
    return Kept(12)


def still_of(path: Path, sha256: str, frame: int, *, width: int, height: int) -> Still:
    """Give one frame of a film.

    Parameters
    ----------
    path, sha256
        The film and the hash of its content.
    frame
        Frame number.
    width, height
        Of its frames.

    Returns
    -------
    Still
        Ready to be clicked on.

    Raises
    ------
    InputError
        If the film cannot be decoded that far.
    KeyError
        If it has no such frame.
    """
    start = frame // RUN * RUN
    run = _runs().get((sha256, start), lambda: _decode(path, start, start + RUN - 1))
    return Still(frame=frame, jpeg=run[frame], width=width, height=height)


def _decode(path: Path, first: int, last: int) -> Mapping[int, bytes]:
    frames = frames_of(path, first, last)
    return {number: scene_picture(luma) for number, luma in frames.items()}
