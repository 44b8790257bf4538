"""The film behind a report: a case goes in; its last film, read again, and its still come out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import cast

from classify.apart import read_clip
from classify.casebook import Case
from classify.clip_store import find_clip
from classify.logbook import Archer, Version
from classify.logbook_file import LogbookFile
from classify.setup_sheet import arrow_spec
from classify.types import Known
from tracker.types import InputError
from ui.flight_views import flight_frames
from ui.known_input import parse_known
from ui.report import FilmedFlight
from ui.stills import strobe_picture


def known_with_sheet(known: Known, archer: Archer, version: Version) -> Known:
    """Add what the logbook knows to what was said about a film.

    Parameters
    ----------
    known
        As said; this wins.
    archer, version
        Whose hand and which arrow.

    Returns
    -------
    Known
        With hand and arrow where the logbook has them.

    Raises
    ------
    InputError
        If the hand is not the archer's: advice for the other hand is advice the wrong way round.
    """
    if known.hand is not None and archer.hand not in (None, known.hand):
        raise InputError(f"logbook.other_hand_{archer.hand}", name=archer.name)
    return replace(
        known,
        hand=known.hand or archer.hand,
        arrow=known.arrow or arrow_spec(version.sheet),
    )


def film_of(book: LogbookFile, case: Case) -> FilmedFlight | None:
    """Read the last film of a case's newest version again, for its pictures.

    Parameters
    ----------
    book, case
        The logbook and the case opened from it.

    Returns
    -------
    FilmedFlight or None
        None where no film was kept, or it could not be read.
    """
    for seen in reversed(case.seen[-1]):
        clip = None if seen.clip_sha256 is None else find_clip(book, seen.clip_sha256)
        if seen.kind != "flight" or clip is None:
            continue
        said = dict(cast("Mapping[str, str]", seen.payload.get("known") or {}))
        said.pop("arrow", None)
        if case.archer.hand is not None:
            said.pop("hand", None)  # an old entry may say the other one; the archer's is right
        known = known_with_sheet(parse_known(said), case.archer, case.newest)
        result = read_clip(clip.path, known=known)
        plate, track = result.followed.plate, result.track
        if result.reading.refused is not None or plate is None or track is None:
            continue
        still = strobe_picture(plate, flight_frames(clip.path, track), track)
        return FilmedFlight(reading=result.reading, strobe_jpeg=still)
    return None
