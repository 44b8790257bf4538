"""`tailsway batch`: reads every film of a folder, several at a time, and prints a line for each."""

from __future__ import annotations

import json
import os
from collections.abc import Sequence
from pathlib import Path

import click

from classify.batch import ReadFilm, films_in, read_many
from classify.report_json import reading_json
from tracker.types import message
from ui.cause_words import spoken
from ui.command_known import known_from, known_options
from ui.command_words import help_words, language_of, language_option
from ui.leading_swing import swings_found
from ui.reading_words import (
    found_words,
    frequency_words,
    headline_chance,
    listed,
    swing_words,
)
from ui.text_table import table_lines
from ui.words import say

_COLUMNS = ("film", "read", "sure", "frequency", "swing", "seconds")


@click.command(help=help_words("help_batch"))
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--jobs", type=click.IntRange(1, 64), help=help_words("help_jobs"))
@click.option("--cluster", metavar="ADDRESS", help=help_words("help_cluster"))
@click.option("--json-lines", "as_json", is_flag=True, help=help_words("help_json_lines"))
@known_options
@language_option
@click.pass_context
def batch(
    ctx: click.Context,
    /,
    folder: Path,
    jobs: int | None,
    cluster: str | None,
    as_json: bool,
    **typed: str | None,
) -> None:
    """Read a folder; the texts of what the coach knows arrive by name in `typed`."""
    language = language_of(ctx)
    known = known_from(typed)
    paths = films_in(folder)
    done: list[ReadFilm] = []
    for film in read_many(paths, known=known, jobs=jobs or os.cpu_count() or 1, cluster=cluster):
        done.append(film)
        if as_json:
            click.echo(json.dumps(film_json(film, language), ensure_ascii=False, allow_nan=False))
        else:
            click.echo(f"{len(done)}/{len(paths)} {film.path.name}", err=True)
    done.sort(key=lambda film: film.path.name)
    if not as_json:
        heads = [say(message(f"batch.head_{name}"), language) for name in _COLUMNS]
        click.echo("\n".join(table_lines(heads, [_cells(film, language) for film in done])))
        for line in _reasons(done, language):
            click.echo(f"- {line}")
    bad = sum(film.reading is None for film in done)
    refused = sum(film.reading is not None and film.reading.refused is not None for film in done)
    total = message(
        "batch.done", read=len(done) - bad - refused, refused=refused, bad=bad, count=len(done)
    )
    click.echo(say(total, language), err=as_json)
    ctx.exit(2 if bad else 3 if refused else 0)


def film_json(film: ReadFilm, language: str) -> dict[str, object]:
    """Write one film as an object of one line.

    Parameters
    ----------
    film
        What became of it.
    language
        Two letters.

    Returns
    -------
    dict
        ``film``, ``seconds``, ``problem`` (a sentence or null) and ``reading`` (as ``read --json``
        prints it, or null).
    """
    reading = film.reading
    return {
        "film": str(film.path),
        "seconds": round(film.seconds, 3),
        "problem": None if film.problem is None else say(film.problem, language),
        "reading": None
        if reading is None
        else reading_json(spoken(reading, language), lambda sentence: say(sentence, language)),
    }


def _reasons(films: Sequence[ReadFilm], language: str) -> list[str]:
    """Say film by film why there is no reading; in the table it would push the columns apart."""
    told = [(f, f.problem if f.reading is None else f.reading.refused) for f in films]
    return [f"{f.path.name}: {say(why, language)}" for f, why in told if why is not None]


def _cells(film: ReadFilm, language: str) -> list[str]:
    reading = film.reading
    seconds = f"{film.seconds:.1f}"
    if reading is None or reading.refused is not None:
        word = "bad" if reading is None else "refused"
        return [film.path.name, say(message(f"batch.{word}"), language), "", "", "", seconds]
    swings = [swing for swing in swings_found(reading) if swing is not None]
    return [
        film.path.name,
        found_words(reading.label, reading.presence, language),
        headline_chance(reading, language),
        listed([frequency_words(swing, language) for swing in swings], language),
        listed([swing_words(swing, language) for swing in swings], language),
        seconds,
    ]
