"""At what rate were the frames taken? Frame times, metadata and a person's word go in.

Out comes a rate with the name of who vouches for it, or None: a film that plays at 30 frames a
second may have been taken at 30 or at 240, and this module refuses to guess which.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from tracker.types import CaptureSource, FloatArray, InputError, Message, message

CAPTURE_KEY = "com.android.capture.fps"
"""Key under which Android phones write the rate at which the sensor took the frames."""

TRUE_SPEED_HZ = 100
"""Films whose own clock runs at this rate or above are not stretched: nothing plays so fast."""

STRETCHES = (1, 2, 4, 8, 16, 32)
"""How many times slower than the world films are stored (common practice of phones)."""

SAME_RATE = 0.03
"""Relative difference below which two rates are the same one, said once exactly and once not."""

LOWEST_PACE_HZ, HIGHEST_PACE_HZ = 0.1, 1e6
"""Frame times outside these rates are no clock's, whoever wrote them (chosen here)."""

HIGHEST_HZ = 20_000
"""Above the fastest mode of any phone by an order of magnitude."""

CHANGED_STEP = 1.5
"""Frame steps apart by this factor belong to pieces of different speed (chosen here)."""

ROUNDED_TICKS = 1.1
"""Rounding spreads times about an even grid over one tick, and a step is known with some error."""

WINDOW = 21
"""Frames over which the local step is taken: gaps in half of them do not move it."""


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


LONGEST_S = 1e9
"""No film lasts thirty years; what says so cannot be reckoned with."""


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

    Raises
    ------
    InputError
        If the times give a rate that no film has.

    Notes
    -----
    The median step will not do: a clock of 600 ticks a second holds 240 frames as steps of 2 and 3
    ticks, whose median says 200 or 300. The rate is the slope of time against frame number, where
    a gap counts as many frames as fit into it. Where all frames agree with a grid without gaps,
    none is missing.

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
    if times[-1] - times[0] > LONGEST_S:
        raise InputError("film.pace_absurd", step_s=float(times[-1] - times[0]) / (n - 1))
    gapless = _gapless_step(times, tick_s)
    step = _first_step(times, tick_s) if gapless is None else gapless
    if not 1 / HIGHEST_PACE_HZ <= step <= 1 / LOWEST_PACE_HZ:
        raise InputError("film.pace_absurd", step_s=step)
    for _ in range(3):  # a better step counts better, and a better count gives a better step
        numbers = _frames_between(times, step) if gapless is None else np.ones(len(times) - 1)
        count = np.concatenate([[0.0], np.cumsum(numbers)])
        count -= count.mean()
        step = float(count @ times / (count @ count))
    scatter = float(np.std(times - times.mean() - step * count)) + tick_s / np.sqrt(12)
    error = scatter / float(np.sqrt(count @ count))
    if gapless is not None:  # rounding is no noise: near the clock's own rate it pulls one way
        error = max(error, 0.1 * tick_s / (n - 1))
    hz = _nearest_usual(1 / step, error / step)
    dropped = int(numbers.sum()) - len(numbers)
    gaps = int(np.count_nonzero(numbers > 1))
    return Pace(hz=hz, first_frame=first, last_frame=last, dropped=dropped, gaps=gaps)


def _gapless_step(times_s: FloatArray, tick_s: float) -> float | None:
    """Step of an even grid that every frame agrees with, none missing; None if one does not.

    960 a second in whole milliseconds jump by 2 ms at every 24th frame, as if one were missing.
    """
    count = np.arange(len(times_s)) - (len(times_s) - 1) / 2
    step = float(count @ times_s / (count @ count))
    off = times_s - step * count
    return step if float(np.ptp(off)) <= ROUNDED_TICKS * tick_s else None


def _first_step(times_s: FloatArray, tick_s: float) -> float:
    """Mean of the steps that hold no gap: within half of a median that gaps may have raised."""
    lag = min(8, len(times_s) - 1)
    median = float(np.median(times_s[lag:] - times_s[:-lag])) / lag
    steps = np.diff(times_s)
    plain = steps[steps <= 1.5 * median + tick_s]
    return float(plain.mean()) if len(plain) else median


def _frames_between(times_s: FloatArray, step_s: float) -> FloatArray:
    """(n - 1,) frames from each one to the next: 1, or more where some are missing.

    Each is counted from where the one before stood on an even grid, not from its rounded time, and
    the grid is let drift slowly with the times.
    """
    numbers = np.ones(len(times_s) - 1)
    grid = float(times_s[0])
    for i, time in enumerate(times_s[1:].tolist()):
        number = max(round((time - grid) / step_s), 1)
        numbers[i] = number
        grid += number * step_s
        grid += 0.05 * (time - grid)
    return numbers


def _longest_even_piece(times_s: FloatArray) -> tuple[int, int]:
    """First and last frame of the longest run in which the step keeps its level."""
    n = len(times_s)
    if n < 2 * WINDOW:
        return 0, n - 1
    # Over three frames, since rounding to a coarse clock alone makes steps of 2 and 3 ticks; the
    # median of a window, since a few gaps are no change of speed.
    steps = (times_s[3:] - times_s[:-3]) / 3
    windows = np.lib.stride_tricks.sliding_window_view(
        np.pad(steps, WINDOW // 2, mode="reflect"), WINDOW
    )
    level = np.asarray(np.log(np.median(windows, axis=1)), dtype=np.float64)
    edges = _changes(level)
    if len(edges) == 2:
        return 0, n - 1
    longest = int(np.argmax(np.diff(edges)))
    first = 0 if longest == 0 else edges[longest] + 1
    last = n - 1 if longest == len(edges) - 2 else edges[longest + 1] + 1
    return first, last


def _changes(level: FloatArray) -> list[int]:
    """Where a level, in logarithms, leaves its piece's median; with both ends."""
    edges = [0]
    if np.ptp(level) <= np.log(CHANGED_STEP):
        return [0, len(level)]
    for i in range(1, len(level)):
        if i - edges[-1] < 3:
            continue
        if abs(level[i] - np.median(level[edges[-1] : i][-WINDOW:])) > np.log(CHANGED_STEP):
            edges.append(i)
    return [*edges, len(level)]


def _nearest_usual(hz: float, relative_error: float) -> Fraction:
    """Whole rates and television's times 1000/1001, where the measurement allows one.

    Television's are multiples of 24 or 30; 961000/1001 would be nobody's.
    """
    whole = max(round(hz), 1)
    television = max(round(hz * 1.001), 1)
    usual = [Fraction(whole)]
    if television % 24 == 0 or television % 30 == 0:
        usual.append(Fraction(television * 1000, 1001))
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

    Raises
    ------
    InputError
        If a person says fewer frames a second than the file plays.

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
        if said / container_hz < 1 - SAME_RATE:
            raise InputError(
                "film.rate_said_slower", said_hz=_short(said), file_hz=_short(container_hz)
            )
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
