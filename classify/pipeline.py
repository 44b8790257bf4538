"""The road from a film file to a reading, in one function for every face of the tool.

A path and what the coach knows go in, a `ReadResult` comes out; it refuses only through the
`Reading` it returns, and raises `InputError` for what a person can put right.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import get_args

from threadpoolctl import threadpool_limits

from classify.flight_ends import within_ends
from classify.judgement import bare_reading, check_known, read_track
from classify.knowledge import load_knowledge
from classify.label_model import shipped_label_model
from classify.read_result import ReadResult
from classify.thresholds import shipped_thresholds
from classify.types import Estimate, Hand, Known
from tracker.arrowlike import shipped_arrow_model
from tracker.claims import shipped_claim_model
from tracker.face import find_face
from tracker.follow import follow
from tracker.types import Clip, Followed, InputError, Progress, message


def prepare() -> None:
    """Load what all readings share, so that the first is as quick as the others."""
    shipped_arrow_model()
    shipped_claim_model()
    shipped_label_model()
    shipped_thresholds()
    for hand in (*get_args(Hand), None):
        load_knowledge(hand)


def read_clip(path: Path, *, known: Known, progress: Progress | None = None) -> ReadResult:
    """Read one flight of a film.

    Parameters
    ----------
    path
        The film file.
    known
        What the coach knows.
    progress
        Called with each stage's name and the share of it that is done.

    Returns
    -------
    ReadResult
        Its `reading` is a label with reasons, or a refusal with a reason.

    Raises
    ------
    InputError
        If the file cannot be read as a film, or what the coach said is impossible.
    """
    check_known(known)
    # matrices are small: threads of linear algebra would wait for one another more than they work
    with threadpool_limits(limits=1, user_api="blas"):
        followed = follow(path, capture_hz=known.capture_hz, click=known.click, progress=progress)
        tell = progress or (lambda _stage, _share: None)
        tell("read", 0.0)
        result = read_followed(followed, known=known)
        tell("read", 1.0)
    return result


def read_followed(followed: Followed, *, known: Known) -> ReadResult:
    """Read one flight of a film that was followed already.

    Parameters
    ----------
    followed
        What the tracker made of the film.
    known
        What the coach knows; only the tracker's part of it (capture rate, click) needs the film
        again when it changes.

    Returns
    -------
    ReadResult

    Raises
    ------
    InputError
        If the coach asks for a flight that the film does not hold, or said something impossible.
    """
    check_known(known)
    count = len(followed.flights)
    if count == 0:
        reason = followed.lost.reason if followed.lost else message("label.no_flight")
        reading = bare_reading(followed.clip, None, known, refused=reason)
        return ReadResult(reading=reading, followed=followed, track=None)
    if known.flight >= count:
        raise InputError("label.no_such_flight", wanted=known.flight + 1, found=count)
    track = within_ends(
        followed.flights[known.flight], first=known.first_frame, last=known.last_frame
    )
    _mark_inside(known, followed.clip, len(track.time_s))
    face_px = _face_px(followed, known)
    reading = read_track(track, clip=followed.clip, known=known, face_px=face_px)
    if count > 1:
        which = message("label.one_of_flights", flight=known.flight + 1, count=count)
        reading = replace(reading, notes=(*reading.notes, which))
    return ReadResult(reading=reading, followed=followed, track=track)


def _mark_inside(known: Known, clip: Clip, frames: int) -> None:
    """Refuse a mark of the face in a frame or at a place that the film does not have."""
    mark = known.face_mark
    if mark is None:
        return
    xs, ys = (mark.x1_px, mark.x2_px), (mark.y1_px, mark.y2_px)
    inside = 0 <= min(xs) <= max(xs) <= clip.width and 0 <= min(ys) <= max(ys) <= clip.height
    if mark.frame >= frames or not inside:
        raise InputError(
            "label.face_mark_outside",
            frame=mark.frame, frames=frames, width_px=clip.width, height_px=clip.height,
        )  # fmt: skip


def _face_px(followed: Followed, known: Known) -> Estimate | None:
    """Look for the target face where its apparent size would tell anything; it takes a while."""
    needless = known.face_diameter_m is None or known.face_mark is not None
    if needless or followed.plate is None:
        return None
    face = find_face(followed.plate)
    return None if face is None else Estimate(value=face.diameter_px, sigma=face.sigma_px)
