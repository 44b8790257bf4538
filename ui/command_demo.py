"""`tailsway demo`: reads the shipped clips and prints a table of what each is and what was read."""

from __future__ import annotations

import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import cast

import click

from classify.apart import read_clip
from classify.label import disturbances_found
from classify.types import DISTURBANCES, Disturbance, Label, Reading
from tracker.types import message
from ui.command_words import help_words, language_of, language_option
from ui.demo_clips import DemoClip, demo_clips
from ui.leading_swing import AXIS_OF, KIND_OF, leading_swing
from ui.progress_line import progress_on_stderr
from ui.reading_words import label_word
from ui.rounding import with_error
from ui.text_table import table_lines
from ui.words import say

_COLUMNS = ("clip", "is", "read", "frequency", "swing", "seconds")


@dataclass(frozen=True, kw_only=True)
class DemoRow:
    """One line of the table.

    Attributes
    ----------
    name, is_, read, frequency, swing, seconds
        Its cells.
    right
        Whether the clip was read as what it is.
    """

    name: str
    is_: str
    read: str
    frequency: str
    swing: str
    seconds: str
    right: bool


@click.command(help=help_words("help_demo"))
@language_option
@click.pass_context
def demo(ctx: click.Context) -> None:
    """Read every demo clip and print the table; exit status 1 if one was misread."""
    language = language_of(ctx)
    rows = []
    for clip in demo_clips():
        start = time.perf_counter()
        with progress_on_stderr(language) as progress:
            result = read_clip(clip.path, known=clip.known, progress=progress)
        rows.append(demo_row(clip, result.reading, time.perf_counter() - start, language))
    heads = [say(message(f"command.demo_head_{name}"), language) for name in _COLUMNS]
    cells = [[row.name, row.is_, row.read, row.frequency, row.swing, row.seconds] for row in rows]
    click.echo("\n".join(table_lines(heads, cells)))
    wrong = sum(not row.right for row in rows)
    verdict = (
        message("command.demo_some_wrong", wrong=wrong, count=len(rows))
        if wrong
        else message("command.demo_all_right", count=len(rows))
    )
    click.echo(say(verdict, language))
    ctx.exit(1 if wrong else 0)


def demo_row(clip: DemoClip, reading: Reading, seconds: float, language: str) -> DemoRow:
    """Compare a reading with the truth of its clip.

    It is right if it finds the disturbances that are there and no others. Which of two leads may
    hang on less than their errors.

    Parameters
    ----------
    clip
        With its truth.
    reading
        What was read.
    seconds
        How long it took.
    language
        Two letters.

    Returns
    -------
    DemoRow
        For the table.
    """
    refuse = say(message("command.demo_refuse"), language)
    refused = say(message("command.demo_refused"), language)
    presence = cast(Mapping[str, bool], clip.truth["presence"])
    there = () if clip.label is None else tuple(one for one in DISTURBANCES if presence[one])
    read = disturbances_found(reading.label, reading.presence)
    line = leading_swing(reading)
    true = true_mode(clip, reading.label if reading.label in there else clip.label)
    frequency = swing = "–"
    if line is not None:
        frequency = with_error(line.frequency_hz, line.frequency_sigma_hz)
        swing = with_error(line.swing_mm or 0.0, line.swing_sigma_mm or 0.0)
        if true is not None:
            frequency, swing = f"{frequency} ({true[0]:.2f})", f"{swing} ({true[1]:.1f})"
    return DemoRow(
        name=clip.name,
        is_=refuse if clip.label is None else _named(clip.label, there, language),
        read=refused if reading.refused is not None else _named(reading.label, read, language),
        frequency=frequency,
        swing=swing,
        seconds=f"{seconds:.1f}",
        right=(reading.label is None) == (clip.label is None) and set(read) == set(there),
    )


def _named(leading: Label | None, there: tuple[Disturbance, ...], language: str) -> str:
    """Name what leads, and then whatever else is there."""
    others = [label_word(one, language) for one in there if one != leading]
    return ", ".join([label_word(leading, language), *others])


def true_mode(clip: DemoClip, label: Label | None) -> tuple[float, float] | None:
    """Find the true frequency and swing of a disturbance that a clip shows.

    Parameters
    ----------
    clip
        With its truth.
    label
        The disturbance.

    Returns
    -------
    tuple of float or None
        Hertz and millimetres at release; None where there is none.
    """
    if label is None or label == "clean":
        return None
    for mode in cast(Sequence[dict[str, float | str]], clip.truth["modes"]):
        if mode["kind"] == KIND_OF[label] and mode["axis"] == AXIS_OF[label]:
            return float(mode["f_hz"]), float(mode["swing_mm"])
    return None
