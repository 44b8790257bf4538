"""A film goes in, the path of the nock in every flight comes out, or why there is none.

The film is decoded once. While it passes, only likely moments of release are noted; the frames
after them are then searched for a path (`tracker.path`) and the nock is placed in each
(`tracker.tail`). What the path means is not known here.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

from tracker.decode import Reader
from tracker.flight import FEWEST_FRAMES, FoundFlight, follow_window
from tracker.footage import FromRow
from tracker.path import QUICK, THOROUGH
from tracker.scene import Window
from tracker.trigger import LESS_SUDDEN, Activity, likely_releases, suddenness
from tracker.types import (
    Click,
    Clip,
    Followed,
    Frame,
    InputError,
    Lost,
    Message,
    Progress,
    message,
)

Fetch = Callable[[int, int], Iterator[Frame]]
"""Gives frames first to last, both included, in order."""

KEPT_BYTES = 260_000_000
"""Up to so much a film is kept in memory, 1.1 s of 720p at 240 frames a second; a longer one is
decoded again where an arrow may fly."""

CLICKED_TRUE_S = (0.05, 0.3)
"""A clicked arrow was released about so long before, if nothing else tells (chosen here)."""

CLICK_RELEASES, CLOSE_FRAMES = 4, 8
"""Sudden moments tried for a click, and how near to one a guess is not worth trying."""

SEARCHED_THOROUGHLY = 3
"""Sudden moments after which more paths are tried, if no arrow was found after any."""

SURE_ENOUGH = 0.9
"""How sure it must be that a path is an arrow's after a moment that is hardly sudden: there are
many more of those than arrows. Of four hard films' arrows that hid so, three came to 0.93 to 0.998;
another film's path of something else came to 0.61 (chosen here)."""

PLATE_S = 0.25
"""True time before a release from which the scene without the arrow is taken (chosen here)."""

FLIGHT_S = 1.6
"""No target is further: 90 m at 57 m/s."""

ORDINARY_HZ = 60
"""Up to this rate a phone films at ordinary speed, and an arrow is gone within a few frames: no
other advice than slow motion helps."""

USUAL_HZ = Fraction(240)
"""Assumed for the length of the search window only, where nobody vouches for the capture rate."""


def follow(
    path: Path,
    *,
    capture_hz: Fraction | None = None,
    click: Click | None = None,
    progress: Progress | None = None,
) -> Followed:
    """Follow the nock through every flight of a film.

    Parameters
    ----------
    path
        Of the film.
    capture_hz
        Rate at which the frames were taken, if a person vouches for it.
    click
        Where the nock is in one frame, if a person says so; the path then goes through there.
    progress
        Called with "decode", "search", "refine" and the share done.

    Returns
    -------
    Followed

    Raises
    ------
    InputError
        If the file cannot be read, or the click lies outside the film.
    """
    tell = progress or (lambda _stage, _share: None)
    with Reader(path, capture_hz=capture_hz) as reader:
        activity, kept = Activity(), _Kept()
        expected = reader.declared_frames or 0
        for frame in reader.frames():
            activity.add(frame.luma)
            kept.add(frame)
            if expected and frame.index % 16 == 0:
                tell("decode", min(frame.index / expected, 1.0))
        clip = reader.clip
        _check_click(click, clip)
        tell("search", 0.0)
        flights = _flights(clip, activity, lambda a, b: kept.frames(reader, a, b), click, tell)
    return _answer(clip, flights, click)


class _Kept:
    """All frames of a short film; of one that does not fit in `KEPT_BYTES`, none."""

    def __init__(self) -> None:
        self._frames: list[Frame] = []
        self._bytes = 0

    def add(self, frame: Frame) -> None:
        self._bytes += frame.luma.nbytes
        if self._bytes <= KEPT_BYTES:
            # a copy, else the colours stay in memory too
            self._frames.append(replace(frame, luma=frame.luma.copy()))
        else:
            self._frames.clear()

    def frames(self, reader: Reader, first: int, last: int) -> Iterator[Frame]:
        """Yield frames from memory, or decode them again."""
        return iter(self._frames[first : last + 1]) if self._frames else reader.segment(first, last)


def _check_click(click: Click | None, clip: Clip) -> None:
    if click is None:
        return
    inside = (
        0 <= click.frame < clip.frames
        and -0.5 <= click.x_px < clip.width
        and -0.5 <= click.y_px < clip.height
    )
    if not inside:
        raise InputError(
            "tracker.click_outside",
            frame=click.frame,
            x_px=click.x_px,
            y_px=click.y_px,
            frames=clip.frames,
            width_px=clip.width,
            height_px=clip.height,
        )


def _flights(
    clip: Clip,
    activity: Activity,
    fetch: Fetch,
    click: Click | None,
    tell: Progress,
) -> list[FoundFlight]:
    """Search after every likely release, the most sudden first.

    Where no arrow flew after any of them, less sudden moments are tried, and more paths.
    """
    if clip.frames < FEWEST_FRAMES or clip.container_hz is None:
        return []
    stretch = clip.stretch
    step_s = float(1 / clip.container_hz)
    true_step_s = step_s * stretch if stretch is not None else float(1 / USUAL_HZ)
    ahead = round(FLIGHT_S / true_step_s)
    back = max(12, round(PLATE_S / true_step_s))
    change = activity.change()
    onset = suddenness(change)
    releases = likely_releases(change, onset, least=LESS_SUDDEN)
    usual = len(likely_releases(change, onset))
    guessed: list[int] = []
    if click is not None:
        releases = [r for r in releases if r - 3 <= click.frame <= r + ahead][:CLICK_RELEASES]
        guessed = _guessed(releases, click, true_step_s)
        usual = len(releases) + len(guessed)
    trials = [(release, QUICK) for release in [*releases, *guessed]]
    # with a rate that nobody vouches for this takes minutes, and the answer is to say the rate
    if click is None and stretch is not None:
        trials += [(release, THOROUGH) for release in releases[:SEARCHED_THOROUGHLY]]
    doubtful = set() if click else set(releases[usual:])
    found: list[FoundFlight] = []
    for number, (release, breadth) in enumerate(trials):
        if found and number >= usual:
            break
        if click is None:
            known = any(f.first_frame - 6 <= release <= f.last_frame + 2 for f in found)
        else:  # all of them are the clicked one; one whose release was seen is the best
            known = any(f.release_s is not None or release in guessed for f in found)
        first, last = max(0, release - back), min(clip.frames - 1, release + ahead)
        if known or last - release < FEWEST_FRAMES:
            continue
        window = Window(
            first=first,
            release=release,
            times_s=clip.container_times_s[first : last + 1],
            stretch=stretch,
        )
        flight = follow_window(window, _rows_of(fetch, first, last), click, breadth)
        if flight is not None and release in doubtful and flight.confidence < SURE_ENOUGH:
            continue
        if flight is not None and release in guessed:
            flight = replace(flight, release_s=None, release_sigma_s=None)
        if flight is not None and (click or not any(_overlap(flight, f) for f in found)):
            found.append(flight)
        tell("search", (number + 1) / len(trials))
    tell("search", 1.0)  # where an arrow was found, the wider search was spared
    if click is not None:
        return sorted(found, key=lambda f: (f.release_s is None, -f.confidence))[:1]
    return sorted(found, key=lambda f: f.first_frame)


def _rows_of(fetch: Fetch, first: int, last: int) -> FromRow:
    """Give the frames of a stretch by their row in it."""
    return lambda row: fetch(first + row, last)


def _guessed(releases: list[int], click: Click, true_step_s: float) -> list[int]:
    """Moments at which a clicked arrow may have been released, far from those that were seen."""
    guesses = [max(click.frame - round(back / true_step_s), 3) for back in CLICKED_TRUE_S]
    return [g for g in guesses if all(abs(g - r) > CLOSE_FRAMES for r in releases)]


def _overlap(one: FoundFlight, other: FoundFlight) -> bool:
    return one.first_frame <= other.last_frame and other.first_frame <= one.last_frame


def _answer(clip: Clip, flights: list[FoundFlight], click: Click | None) -> Followed:
    """Put the flights into rows of the clip."""
    times = clip.times_s
    times = clip.container_times_s if times is None else times
    tracks = tuple(
        f.track(times, clip.stretch, "itself" if click is None else "click") for f in flights
    )
    lost = None if tracks else Lost(reason=why_lost(clip, click))
    return Followed(
        clip=clip, flights=tracks, lost=lost, plate=flights[0].plate if flights else None
    )


def why_lost(clip: Clip, click: Click | None) -> Message:
    """Say why a film holds no flight, and what to do about it.

    Parameters
    ----------
    clip
        Of which no flight could be followed.
    click
        Where the nock is in one frame, if a person said so.

    Returns
    -------
    Message
    """
    if clip.frames < FEWEST_FRAMES:
        return message("tracker.too_short", frames=clip.frames, needed=FEWEST_FRAMES)
    if click is not None:
        return message("tracker.lost_at_click", frame=click.frame)
    if clip.capture_from == "person" and clip.capture_hz != clip.container_hz:
        said, plays = float(clip.capture_hz or 0), float(clip.container_hz or 0)
        return message("tracker.no_flight_said", said_hz=said, file_hz=plays)
    if clip.stretch is None and clip.container_hz is not None:
        return message("tracker.no_flight_no_rate", file_hz=float(clip.container_hz))
    if clip.capture_hz is not None and clip.capture_hz <= ORDINARY_HZ:
        return message("tracker.no_flight_slow", capture_hz=float(clip.capture_hz))
    return message("tracker.no_flight")
