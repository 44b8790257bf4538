"""Reads a shipped demo clip for the worked season: a name goes in, film and reading come out."""

from __future__ import annotations

from typing import cast

from classify.apart import read_clip
from classify.report_json import reading_json
from fixtures.season import SeasonFilm
from ui.demo_clips import DemoClip, demo_clips
from ui.words import say


def season_film(name: str) -> SeasonFilm:
    """Read a demo clip with what its coach knows.

    Parameters
    ----------
    name
        Of the clip.

    Returns
    -------
    SeasonFilm
        For `fixtures.season.play_season`.

    Raises
    ------
    KeyError
        If no demo clip has that name.
    """
    clip = {clip.name: clip for clip in demo_clips()}[name]
    result = read_clip(clip.path, known=clip.known)
    reading = reading_json(result.reading, say)
    return SeasonFilm(
        path=clip.path, reading=cast("dict[str, object]", reading), known=_typed(clip)
    )


def _typed(clip: DemoClip) -> dict[str, str]:
    """Write what the coach knows as it would be typed on the command line."""
    known = clip.known
    said = {
        "capture_hz": known.capture_hz,
        "distance_m": known.distance_m,
        "camera_distance_m": known.camera_distance_m,
        "speed_m_s": known.speed_m_s,
        "face_cm": None if known.face_diameter_m is None else 100 * known.face_diameter_m,
        "focal_px": known.focal_px,
        "field_of_view_deg": known.field_of_view_deg,
        "nock_mm": None if known.nock_diameter_m is None else 1000 * known.nock_diameter_m,
        "hand": known.hand,
    }
    return {name: str(value) for name, value in said.items() if value is not None}
