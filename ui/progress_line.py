"""Progress of a reading on standard error, so that standard output stays clean."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager

import click

from tracker.types import Progress, message
from ui.words import catalogue, say


@contextmanager
def progress_on_stderr(language: str = "en") -> Iterator[Progress]:
    """Show the stage in progress: one line that changes on a terminal, a line a stage elsewhere.

    Parameters
    ----------
    language
        Two letters.

    Yields
    ------
    Progress
        To be handed to the pipeline.
    """
    live = sys.stderr.isatty()
    shown = ""

    def progress(stage: str, share: float) -> None:
        nonlocal shown
        words = stage_words(stage, language)
        if live:
            text = say(
                message("command.progress", stage=words, percent=100 * share),
                language,
            )
            click.echo(f"\r{text:<60}", err=True, nl=False)
        elif words != shown:
            click.echo(words, err=True)
        shown = words

    try:
        yield progress
    finally:
        if live and shown:
            click.echo(f"\r{'':<60}\r", err=True, nl=False)


def stage_words(stage: str, language: str = "en") -> str:
    """Name a stage of the pipeline.

    Parameters
    ----------
    stage
        The word that the pipeline reports.
    language
        Two letters.

    Returns
    -------
    str
        What goes on, or the word itself where the catalogue has no better.
    """
    key = f"reading.stage_{stage.replace(' ', '_')}"
    return say(message(key), language) if key in catalogue("en") else stage
