"""Which logbook, archer and set-up a command means."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import TypeVar

import click

from classify.casebook import Case, open_case
from classify.logbook import Archer, Bow, checked_date, find_archer, find_setup
from classify.logbook_file import LogbookFile
from tracker.types import InputError
from ui.command_words import help_words, language_of
from ui.shelf import data_folder
from ui.words import say

_Wrapped = TypeVar("_Wrapped", bound=Callable[..., object])


@dataclass(frozen=True, kw_only=True)
class Chosen:
    """What a command is about.

    Attributes
    ----------
    book, archer, bow
        Logbook, archer and set-up.
    """

    book: LogbookFile
    archer: Archer
    bow: Bow

    def case(self, upto: int | None = None) -> Case:
        """Open the case, as of a version; None for the newest."""
        return open_case(self.book, self.archer, self.bow.id, upto)


def the_book() -> LogbookFile:
    """Open the logbook in the coach's folder; say so if it can be read only."""
    book = LogbookFile(data_folder())
    if book.problem is not None:
        context = click.get_current_context()
        click.echo(say(book.problem, language_of(context)), err=True)
    return book


def chosen(archer: str, setup: str | None) -> Chosen:
    """Find what a command means.

    Parameters
    ----------
    archer
        Name or code.
    setup
        Name of the set-up; None if the archer has just one.

    Returns
    -------
    Chosen
        In the coach's logbook.

    Raises
    ------
    InputError
        If there is no such archer or set-up.
    """
    book = the_book()
    found = find_archer(book, archer)
    return Chosen(book=book, archer=found, bow=find_setup(book, found, setup))


def help_of(name: str) -> str:
    """Say a help text of the logbook's commands."""
    return help_words(f"help_{name}", area="logbook")


def setup_option(command: _Wrapped) -> _Wrapped:
    """Give a command the option ``--setup``."""
    return click.option("--setup", metavar="NAME", help=help_of("setup"))(command)


def date_option(command: _Wrapped) -> _Wrapped:
    """Give a command the option ``--date``, which has no default but must be said."""
    return click.option(
        "--date", "dated", required=True, metavar="YYYY-MM-DD", help=help_of("date"),
        callback=_not_ahead,
    )(command)  # fmt: skip


def _not_ahead(_ctx: click.Context, _parameter: click.Parameter, text: str) -> str:
    """Refuse what is yet to come; a day is left for clocks that are ahead of each other."""
    today = _today()
    if checked_date(text) > (today + timedelta(days=1)).isoformat():
        raise InputError("logbook.date_ahead", found=text, today=today.isoformat())
    return text


def _today() -> date:
    """Tell which day it is where the coach is."""
    return datetime.now().astimezone().date()


def set_option(command: _Wrapped) -> _Wrapped:
    """Give a command the option ``--set``, once for each field."""
    return click.option("--set", "fields", multiple=True, metavar="FIELD=VALUE",
                        help=help_of("set"))(command)  # fmt: skip


def file_type() -> click.Path:
    """Type of an argument that names a file."""
    return click.Path(path_type=Path, dir_okay=False)
