"""The command line: `tailsway read`, `demo` and the rest; prints, and computes nothing.

Readings go to standard output, progress and complaints to standard error. Exit status 0 for a
reading, 3 for a refusal, 2 for bad input, and never a traceback.
"""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Mapping
from importlib import import_module
from pathlib import Path
from typing import cast

import click

from classify.apart import read_clip
from classify.report_json import reading_json
from tracker.types import InputError, Message, message
from ui.cause_words import spoken
from ui.command_known import known_from, known_options
from ui.command_words import help_words, language_of, language_option
from ui.progress_line import progress_on_stderr
from ui.reading_words import reading_lines
from ui.track_csv import track_csv, write_whole
from ui.words import say

READING, BAD_INPUT, REFUSED, MISTAKE, STOPPED = 0, 2, 3, 1, 130

ELSEWHERE: Mapping[str, str] = {
    "batch": "ui.command_batch:batch",
    "book": "ui.command_book:book",
    "demo": "ui.command_demo:demo",
    "open": "ui.command_open:open_dashboard",
    "plan": "ui.command_plan:plan",
}
"""Where the other commands are; each is loaded when it is asked for, since what they need together
takes a second to load."""


class PlainGroup(click.Group):
    """A group of commands that says what went wrong in one sentence."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Name every command, those that are not loaded too.

        Parameters
        ----------
        ctx
            Of the whole command.

        Returns
        -------
        list of str
            In order of the alphabet.
        """
        return sorted({*super().list_commands(ctx), *ELSEWHERE})

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Give a command, and load it first if need be.

        Parameters
        ----------
        ctx
            Of the whole command.
        cmd_name
            As typed.

        Returns
        -------
        click.Command or None
            None if there is no such command.
        """
        if cmd_name in ELSEWHERE and cmd_name not in self.commands:
            module, _, name = ELSEWHERE[cmd_name].partition(":")
            self.add_command(cast("click.Command", getattr(import_module(module), name)), cmd_name)
        return super().get_command(ctx, cmd_name)

    def invoke(self, ctx: click.Context) -> object:
        """Run the command; turn every failure into a sentence and an exit status.

        Parameters
        ----------
        ctx
            Of the whole command.

        Returns
        -------
        object
            What the command returned.
        """
        try:
            return super().invoke(ctx)
        except InputError as mistake:
            self._fail(ctx, mistake.message, BAD_INPUT)
        except (KeyboardInterrupt, click.Abort):
            self._fail(ctx, message("command.stopped"), STOPPED)
        except (click.ClickException, click.exceptions.Exit, BrokenPipeError):
            raise
        except Exception as mistake:
            if os.environ.get("TAILSWAY_TRACEBACK"):
                raise
            kind, text = type(mistake).__name__, str(mistake)
            self._fail(ctx, message("command.mistake", kind=kind, text=text), MISTAKE)
        raise AssertionError("unreachable: every failure above leaves the command")

    def _fail(self, ctx: click.Context, sentence: Message, status: int) -> None:
        click.echo(say(sentence, language_of(ctx)), err=True)
        ctx.exit(status)


@click.group(
    cls=PlainGroup,
    help=f"{help_words('help_group')}\n\n{help_words('help_caution')}",
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)
@click.version_option(package_name="tailsway")
def main() -> None:
    """Run the command line."""


@main.command(help=help_words("help_read"))
@click.argument("clip", type=click.Path(path_type=Path))
@click.option("--json", "as_json", is_flag=True, help=help_words("help_json"))
@click.option("--track", "track_to", type=click.Path(path_type=Path), help=help_words("help_track"))
@known_options
@language_option
@click.pass_context
def read(
    ctx: click.Context,
    /,
    clip: Path,
    as_json: bool,
    track_to: Path | None,
    **typed: str | None,
) -> None:
    """Read one clip; the texts of what the coach knows arrive by name in `typed`."""
    language = language_of(ctx)
    known = known_from(typed)
    with progress_on_stderr(language) as progress:
        result = read_clip(clip, known=known, progress=progress)
    if track_to is not None:
        write_whole(track_to, track_csv(result.followed, result.track))
        _say_where(track_to, result.followed.clip.times_s is None, language)
    reading = spoken(result.reading, language)
    if as_json:
        said = reading_json(reading, lambda sentence: say(sentence, language))
        click.echo(json.dumps(said, ensure_ascii=False, allow_nan=False, indent=2))
    else:
        click.echo("\n".join(reading_lines(reading, language)))
    sys.stdout.flush()
    ctx.exit(READING if result.reading.refused is None else REFUSED)


def _say_where(path: Path, container_seconds: bool, language: str) -> None:
    click.echo(say(message("command.track_written", path=str(path)), language), err=True)
    if container_seconds:
        warning = message("command.track_container_seconds", path=str(path))
        click.echo(say(warning, language), err=True)
