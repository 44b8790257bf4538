"""Release and impact as a person sets them: a track and two frames in, the flight between out.

Rows are never dropped: outside the flight they become NaN.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from tracker.types import InputError, Track


def within_ends(track: Track, *, first: int | None, last: int | None) -> Track:
    """Keep what was seen between two frames.

    Parameters
    ----------
    track
        As it was followed.
    first, last
        First and last frame of the flight, both included; None where nobody set one.

    Returns
    -------
    Track
        The same track if nobody set anything.

    Raises
    ------
    InputError
        If nothing was seen between the two, or the first comes after the last.
    """
    if first is None and last is None:
        return track
    low = track.first_frame if first is None else first
    high = track.last_frame if last is None else last
    if low > high:
        raise InputError("ends.crossed", first=low, last=high)
    number = np.arange(len(track.time_s))
    inside = (number >= low) & (number <= high)
    seen = np.flatnonzero(track.seen & inside)
    if len(seen) == 0:
        raise InputError("ends.nothing_between", first=low, last=high)
    return replace(
        track,
        xy_px=np.where(inside[:, None], track.xy_px, np.nan),
        sigma_px=np.where(inside[:, None], track.sigma_px, np.nan),
        tail_px=np.where(inside, track.tail_px, np.nan),
        first_frame=int(seen[0]),
        last_frame=int(seen[-1]),
        release_s=track.release_s if first is None else _time(track, first),
        impact_s=track.impact_s if last is None else _time(track, last),
        release_sigma_s=track.release_sigma_s if first is None else _half_frame(track),
        impact_sigma_s=track.impact_sigma_s if last is None else _half_frame(track),
    )


def _time(track: Track, frame: int) -> float:
    return float(track.time_s[min(frame, len(track.time_s) - 1)])


def _half_frame(track: Track) -> float:
    """Error of an event that happened somewhere within a frame (uniform: width over root 12)."""
    return float(np.median(np.diff(track.time_s)) / np.sqrt(12))
