"""Writes the path of the nock as CSV, one row for every decoded frame; computes nothing."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import numpy as np

from tracker.types import Followed, InputError, Track

HEADER = (
    "frame",
    "time_s",
    "x_px",
    "y_px",
    "sigma_x_px",
    "sigma_y_px",
    "shake_x_px",
    "shake_y_px",
)


def track_csv(followed: Followed, track: Track | None) -> str:
    """Write a track as CSV text.

    Parameters
    ----------
    followed
        What the tracker made of the clip.
    track
        The flight to write; None where none was found, which leaves all cells but frame and time
        empty.

    Returns
    -------
    str
        Header and one row for every decoded frame; empty cells where the nock was not seen. Times
        are the container's while nobody vouches for the capture rate.
    """
    clip = followed.clip
    times = clip.container_times_s if clip.times_s is None else clip.times_s
    if track is None:
        columns = np.full((clip.frames, 6), np.nan)
    else:
        columns = np.hstack((track.xy_px, track.sigma_px, track.shake_px))
        times = track.time_s
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(HEADER)
    for index, (time, row) in enumerate(zip(times, columns, strict=True)):
        writer.writerow([index, f"{time:.9g}", *(_cell(value) for value in row)])
    return text.getvalue()


def _cell(value: float) -> str:
    return f"{value:.6g}" if np.isfinite(value) else ""


def write_whole(path: Path, content: str | bytes) -> None:
    """Write a file whole or not at all.

    Parameters
    ----------
    path
        Where; a file that is there already is replaced.
    content
        Text (as UTF-8) or bytes.

    Raises
    ------
    InputError
        If the place cannot be written.
    """
    data = content.encode("utf-8") if isinstance(content, str) else content
    beside = path.with_name(f".{path.name}.part")
    try:
        if path.is_dir():
            raise IsADirectoryError(21, "it is a folder")
        beside.write_bytes(data)
        beside.replace(path)
    except OSError as mistake:
        beside.unlink(missing_ok=True) if beside.parent.is_dir() else None
        reason = mistake.strerror or str(mistake)
        raise InputError("command.cannot_write", path=str(path), reason=reason) from None
