"""`tailsway book backup`, `restore` and `rescue`: keeps the logbook safe, and brings it back."""

from __future__ import annotations

from pathlib import Path

import click

from classify.exchange import export_zip
from classify.logbook_file import LogbookFile
from classify.logbook_restore import restore
from tracker.types import message
from ui.book_chosen import file_type, help_of, the_book
from ui.command_logbook import book
from ui.command_words import language_of, language_option
from ui.shelf import data_folder
from ui.words import say


@book.command("backup", help=help_of("backup"))
@click.argument("file", type=file_type())
@language_option
@click.pass_context
def backup_command(ctx: click.Context, file: Path) -> None:
    """Copy the database while it is in use."""
    the_book().backup(file)
    click.echo(say(message("logbook.backed_up", path=str(file)), language_of(ctx)))


@book.command("restore", help=help_of("restore"))
@click.argument("file", type=file_type())
@language_option
@click.pass_context
def restore_command(ctx: click.Context, file: Path) -> None:
    """Put a backup or an exported zip in the logbook's place."""
    aside = restore(data_folder(), file)
    click.echo(say(message("logbook.restored", path=str(file)), language_of(ctx)))
    if aside is not None:
        click.echo(say(message("logbook.set_aside", path=str(aside)), language_of(ctx)))


@book.command("rescue", help=help_of("rescue"))
@click.argument("file", type=file_type())
@language_option
@click.pass_context
def rescue_command(ctx: click.Context, file: Path) -> None:
    """Write what can be saved of a damaged logbook into a zip file."""
    the = LogbookFile(data_folder(), rescue=True)
    done = export_zip(the, file)
    lost = 0 if the.problem is None else the.problem.values.get("lost", 0)
    said = message("logbook.rescued", kept=sum(done.rows.values()), lost=lost, path=str(file))
    click.echo(say(said, language_of(ctx)))
