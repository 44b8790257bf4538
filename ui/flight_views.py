"""Films and stills of one reading; the frames of the flight are decoded here, once for all."""

from __future__ import annotations

from dataclasses import dataclass
from html import escape
from pathlib import Path

from classify.apart import frames_of
from classify.read_result import ReadResult
from tracker.types import ByteArray, Track, message
from ui.curves import Curves, curves_of
from ui.films import Film, Framing, follow_film, framing_for
from ui.stills import path_picture, scene_picture, strobe_picture
from ui.words import say

MOST_FRAMES = 900
"""Chosen here: a flight of 3.75 s at 240 frames a second; more would fill the memory."""


@dataclass(frozen=True, kw_only=True)
class FlightViews:
    """Pictures of a flight.

    Attributes
    ----------
    film
        The follow view; None where no swing was fitted.
    strobe
        JPEG of every n-th arrow; None without a track.
    path
        JPEG of the scene with the nock's path; None without a scene.
    """

    film: Film | None
    strobe: bytes | None
    path: bytes | None


def flight_views(
    path: Path,
    result: ReadResult,
    *,
    says: str,
    caption: str = "",
    reach: float | None = None,
    drawn_on: bool = True,
) -> FlightViews:
    """Make the pictures of a flight.

    Parameters
    ----------
    path
        The film file that was read.
    result
        What was read from it.
    says, caption
        Words for the film.
    reach
        How far the follow view looks to each side, in the unit of the curves; chosen by the swing
        if None.
    drawn_on
        False leaves fitted swing and trail out of the film.

    Returns
    -------
    FlightViews
        As far as the reading got.
    """
    track, plate = result.track, result.followed.plate
    if track is None:
        still = None if plate is None else scene_picture(plate)
        return FlightViews(film=None, strobe=None, path=still)
    frames = flight_frames(path, track)
    curves = curves_of(result.reading)
    film = None
    if curves is not None and frames:
        framing = _framing(result, curves, track, reach)
        film = follow_film(
            frames,
            curves=curves,
            track=track,
            framing=framing,
            says=says,
            caption=caption,
            drawn_on=drawn_on,
        )
    return FlightViews(
        film=film,
        strobe=None if plate is None else strobe_picture(plate, frames, track),
        path=None if plate is None else path_picture(plate, track),
    )


def reach_for(result: ReadResult) -> float:
    """Tell how far the follow view of a reading looks to each side.

    Parameters
    ----------
    result
        A reading with a swing.

    Returns
    -------
    float
        In the unit of its curves.

    Raises
    ------
    ValueError
        If it has none.
    """
    curves = curves_of(result.reading)
    if curves is None or result.track is None:
        raise ValueError("a reading without a swing has no follow view")
    return _framing(result, curves, result.track, None).reach


def _framing(result: ReadResult, curves: Curves, track: Track, reach: float | None) -> Framing:
    spectrum = result.reading.spectrum
    if spectrum is None:
        raise ValueError("a reading with curves has a spectrum")
    own = framing_for(curves, track, spectrum.singular_time_s.value)
    if reach is None:
        return own
    return Framing(reach=reach, singular_time_s=own.singular_time_s)


def flight_frames(path: Path, track: Track) -> dict[int, ByteArray]:
    """Decode the frames of a flight.

    Parameters
    ----------
    path
        The film file.
    track
        Says from which frame to which.

    Returns
    -------
    dict
        Raw brightness by frame number, at most `MOST_FRAMES`.
    """
    first = track.first_frame
    return frames_of(path, first, min(track.last_frame, first + MOST_FRAMES - 1))


def film_cut_html(track: Track | None, language: str) -> str:
    """Say where the pictures of a long flight end before it does.

    Parameters
    ----------
    track
        The flight, if there is one.
    language
        Two letters.

    Returns
    -------
    str
        HTML; empty for a flight that is shown whole.
    """
    if track is None:
        return ""
    frames = track.last_frame - track.first_frame + 1
    if frames <= MOST_FRAMES:
        return ""
    said = say(message("pages.film_cut", shown=MOST_FRAMES, frames=frames), language)
    return f'<p class="ts-note">{escape(said)}</p>'
