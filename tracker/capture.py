"""At what rate were the frames taken? Frame times, metadata and a person's word go in.

Out comes a rate with the name of who vouches for it, or None: a film that plays at 30 frames a
second may have been taken at 30 or at 240, and this module refuses to guess which.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
import numpy.typing as npt

from tracker.types import CaptureSource, FloatArray, InputError, Message, message

CAPTURE_KEY = "com.android.capture.fps"
"""Key under which Android phones write the rate at which the sensor took the frames."""

TRUE_SPEED_HZ = 100
"""Films whose own clock runs at this rate or above are not stretched: nothing plays so fast."""

STRETCHES = (1, 2, 4, 8, 16, 32)
"""How many times slower than the world films are stored (common practice of phones)."""

SAME_RATE = 0.03
"""Relative difference below which two rates are the same one, said once exactly and once not."""

HIGHEST_HZ = 20_000
"""Above the fastest mode of any phone by an order of magnitude."""

CHANGED_STEP = 1.5
"""Frame steps apart by this factor belong to pieces of different speed (chosen here)."""

LONGEST_BLIP = 6
"""Runs of changed steps no longer than this are dropped frames, not a change of speed."""


@dataclass(frozen=True, kw_only=True)
class Pace:
    """How the frames follow one another by the container's clock.

    Attributes
    ----------
    hz
        Rate of the frame times, gaps left out; None for fewer than two frames.
    first_frame, last_frame
        Longest run of frames with one step; the whole film unless its speed changes.
    dropped
        Frames missing from the sequence inside that run.
    gaps
        Places at which they are missing.
    """

    hz: Fraction | None
    first_frame: int
    last_frame: int
    dropped: int
    gaps: int

    def notes(self, frames: int) -> tuple[Message, ...]:
        """Say what a person should know of the pace.

        Parameters
        ----------
        frames
            Frames of the whole film.
        """
        notes = []
        if self.last_frame - self.first_frame + 1 < frames:
            first, last = self.first_frame, self.last_frame
            notes.append(message("film.speed_changes", first_frame=first, last_frame=last))
        if self.dropped:
            notes.append(message("film.dropped_frames", dropped=self.dropped, gaps=self.gaps))
        return tuple(notes)


def pace(times_s: FloatArray, tick_s: float) -> Pace:
    """Measure the rate of the frame times, whatever is dropped, rounded or stretched in between.

    Parameters
    ----------
    times_s
        (n,) presentation times, strictly increasing.
    tick_s
        Resolution of the container's clock: times are rounded to it.

    Returns
    -------
    Pace
        Rate of the longest piece of even speed, and what is missing in it.

    Notes
    -----
    The median step will not do: a clock of 600 ticks a second holds 240 frames as steps of 2 and 3
    ticks, whose median says 200 or 300. The rate is the slope of time against frame number, where
    a gap counts as many frames as fit into it.

    Examples
    --------
    >>> times = np.round(np.arange(120) / 240 * 600) / 600
    >>> pace(times, 1 / 600).hz
    Fraction(240, 1)
    """
    n = len(times_s)
    if n < 2:
        return Pace(hz=None, first_frame=0, last_frame=n - 1, dropped=0, gaps=0)
    first, last = _longest_even_piece(times_s)
    times = times_s[first : last + 1]
    step = _typical_step(times)
    numbers = np.maximum(np.round(np.diff(times) / step), 1.0)
    count = np.concatenate([[0.0], np.cumsum(numbers)])
    count -= count.mean()
    slope = float(count @ times / (count @ count))
    scatter = float(np.std(times - times.mean() - slope * count)) + tick_s / np.sqrt(12)
    hz = _nearest_usual(1 / slope, scatter / float(np.sqrt(count @ count)) / slope)
    dropped = int(numbers.sum()) - len(numbers)
    gaps = int(np.count_nonzero(numbers > 1))
    return Pace(hz=hz, first_frame=first, last_frame=last, dropped=dropped, gaps=gaps)


def _typical_step(times_s: FloatArray) -> float:
    """Median over lags long enough to wash the rounding of the clock out, short against gaps."""
    lag = min(8, len(times_s) - 1)
    return float(np.median(times_s[lag:] - times_s[:-lag])) / lag


def _local_steps(times_s: FloatArray) -> FloatArray:
    """(n - 3,) steps over three frames, each the median of its nine neighbours."""
    steps = (times_s[3:] - times_s[:-3]) / 3
    padded = np.pad(steps, 4, mode="edge")
    windows = np.lib.stride_tricks.sliding_window_view(padded, 9)
    return np.asarray(np.median(windows, axis=1), dtype=np.float64)


def _longest_even_piece(times_s: FloatArray) -> tuple[int, int]:
    """First and last frame of the longest run in which the step stays the same."""
    n = len(times_s)
    if n < 24:
        return 0, n - 1
    steps = _local_steps(times_s)
    change = np.abs(np.diff(np.log(steps)))
    # Rounded clocks and jitter make steps wander; only a lasting change of level is a new piece.
    before = steps[:-LONGEST_BLIP]
    after = steps[LONGEST_BLIP:]
    jump = np.abs(np.log(after / before)) > np.log(CHANGED_STEP)
    if not jump.any() or not change.any():
        return 0, n - 1
    labels = _pieces(steps)
    runs = np.flatnonzero(np.diff(labels)) + 1
    edges = np.concatenate([[0], runs, [len(labels)]])
    longest = int(np.argmax(np.diff(edges)))
    if np.diff(edges)[longest] >= len(labels) - 1:
        return 0, n - 1
    return int(edges[longest]), int(edges[longest + 1]) + 2


def _pieces(steps: FloatArray) -> npt.NDArray[np.int64]:
    """Count the pieces: a new one starts where the step leaves the current level for good."""
    labels = np.zeros(len(steps), dtype=np.int64)
    level, label, away = float(steps[0]), 0, 0
    for i, step in enumerate(steps):
        away = away + 1 if abs(np.log(step / level)) > np.log(CHANGED_STEP) else 0
        if away > LONGEST_BLIP:
            label, level = label + 1, float(step)
            labels[i - away + 1 : i] = label
            away = 0
        labels[i] = label
    return labels


def _nearest_usual(hz: float, relative_error: float) -> Fraction:
    """Whole rates and whole rates times 1000/1001, where the measurement allows one."""
    whole = max(round(hz), 1)
    television = max(round(hz * 1.001), 1)
    usual = [Fraction(whole), Fraction(television * 1000, 1001)]
    nearest = min(usual, key=lambda rate: abs(float(rate) - hz))
    if abs(float(nearest) / hz - 1) <= max(3 * relative_error, 1e-9):
        return nearest
    return Fraction(hz).limit_denominator(1001 * 1000)


def said_by_metadata(*sources: Mapping[str, str]) -> Fraction | None:
    """Find the capture rate in the metadata of container and stream.

    Parameters
    ----------
    sources
        Metadata as the decoding library gives them: text by key.

    Returns
    -------
    Fraction or None
        None where nothing believable is written.

    Examples
    --------
    >>> said_by_metadata({}, {"com.android.capture.fps": "240.000000"})
    Fraction(240, 1)
    """
    for source in sources:
        text = source.get(CAPTURE_KEY, "")
        try:
            hz = float(text)
        except ValueError:
            continue
        if 1 <= hz <= HIGHEST_HZ:
            return Fraction(hz).limit_denominator(1001)
    return None


def check_said(capture_hz: Fraction) -> Fraction:
    """Refuse a rate that no camera has.

    Parameters
    ----------
    capture_hz
        What a person said.

    Raises
    ------
    InputError
        Outside 1 to 20,000 frames a second.
    """
    if not 1 <= capture_hz <= HIGHEST_HZ:
        raise InputError("film.rate_impossible", hz=_short(capture_hz), highest_hz=HIGHEST_HZ)
    return capture_hz


def capture_rate(
    container_hz: Fraction | None, *, said: Fraction | None, written: Fraction | None
) -> tuple[Fraction | None, CaptureSource, tuple[Message, ...]]:
    """Decide at which rate the frames were taken, and who vouches for it.

    Parameters
    ----------
    container_hz
        Rate of the frame times.
    said
        By a person; counts for more than anything else.
    written
        In the file's metadata.

    Returns
    -------
    tuple
        Rate or None, who vouches for it, and notes on what contradicts it.

    Notes
    -----
    A rate that agrees with the frame times within 3 % means a film stored at true speed. Then the
    frame times themselves are the better clock, and their rate is returned.

    Examples
    --------
    >>> capture_rate(Fraction(30), said=None, written=Fraction(240))[:2]
    (Fraction(240, 1), 'metadata')
    >>> capture_rate(Fraction(30), said=None, written=None)[:2]
    (None, 'unknown')
    """
    if container_hz is None:
        return said or written, _source(said, written), ()
    if said is not None:
        return _same(said, container_hz), "person", _doubts(said, container_hz, written)
    if written is not None and _stretch(written, container_hz) is not None:
        return _same(written, container_hz), "metadata", ()
    notes: tuple[Message, ...] = ()
    if written is not None:
        notes = (
            message(
                "film.rate_metadata_odd", written_hz=_short(written), file_hz=_short(container_hz)
            ),
        )
    if container_hz >= TRUE_SPEED_HZ:
        return container_hz, "frame times", notes
    return None, "unknown", (*notes, message("film.rate_unknown", file_hz=_short(container_hz)))


def _source(said: Fraction | None, written: Fraction | None) -> CaptureSource:
    if said is not None:
        return "person"
    return "metadata" if written is not None else "unknown"


def _same(hz: Fraction, container_hz: Fraction) -> Fraction:
    """Let the frame times speak where they agree with what was said of them."""
    return container_hz if abs(hz / container_hz - 1) <= SAME_RATE else hz


def _stretch(hz: Fraction, container_hz: Fraction) -> int | None:
    """How many times the film is stretched, if it is one of the usual numbers."""
    for stretch in STRETCHES:
        if abs(hz / container_hz / stretch - 1) <= SAME_RATE:
            return stretch
    return None


def _doubts(
    said: Fraction, container_hz: Fraction, written: Fraction | None
) -> tuple[Message, ...]:
    """Collect what contradicts a person."""
    notes = []
    if written is not None and abs(said / written - 1) > SAME_RATE:
        notes.append(
            message("film.rate_metadata_differs", said_hz=_short(said), written_hz=_short(written))
        )
    if _stretch(said, container_hz) is None:
        notes.append(
            message("film.rate_said_odd", said_hz=_short(said), file_hz=_short(container_hz))
        )
    return tuple(notes)


def _short(hz: Fraction) -> float:
    """Round for a sentence."""
    return round(float(hz), 2)
