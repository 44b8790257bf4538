"""What a coach corrected about a clip, turned into what the reading is told.

Notes go in, texts for `parse_known` come out. The newest note of each kind holds; a blank one takes
the correction back. Nothing is ever removed from the notes.
"""

from __future__ import annotations

from collections.abc import Mapping

from ui.shelf import NoteKind, Shelf

_KINDS: tuple[NoteKind, ...] = ("known", "which", "click", "face", "ends")


def told(shelf: Shelf, sha256: str, given: Mapping[str, str]) -> dict[str, str]:
    """Gather what holds now about a clip.

    Parameters
    ----------
    shelf
        With the notes.
    sha256
        Hash of the clip.
    given
        What is known from the start.

    Returns
    -------
    dict
        Texts for `parse_known`.
    """
    texts = dict(given)
    for kind in _KINDS:
        said = shelf.last(sha256, kind)
        if said is not None:
            texts.update(said)
    if texts.get("click"):
        # Only the flight that was clicked on is followed then, whichever it was.
        texts["flight"] = ""
    return texts


def click_text(frame: int, points: list[float]) -> dict[str, str]:
    """Write where the nock is.

    Parameters
    ----------
    frame
        Frame number.
    points
        x and y.

    Returns
    -------
    dict
        For a note of kind ``click``.
    """
    return {"click": f"{frame},{points[0]:.2f},{points[1]:.2f}"}


def face_text(frame: int, points: list[float]) -> dict[str, str]:
    """Write where the edges of the face are.

    Parameters
    ----------
    frame
        Frame number.
    points
        x and y of two opposite edges.

    Returns
    -------
    dict
        For a note of kind ``face``.
    """
    return {"face_mark": ",".join([str(frame), *(f"{value:.2f}" for value in points)])}
