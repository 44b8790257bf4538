"""Language of the command line: an option that every command has, and the help texts."""

from __future__ import annotations

import os
from collections.abc import Callable
from typing import TypeVar

import click

from tracker.types import message
from ui.words import LANGUAGES, say

VARIABLE = "TAILSWAY_LANGUAGE"
_KEY = "tailsway.language"
_Wrapped = TypeVar("_Wrapped", bound=Callable[..., object])


def language_of(ctx: click.Context) -> str:
    """Tell which language the person asked for.

    Parameters
    ----------
    ctx
        Of a command or of the whole.

    Returns
    -------
    str
        A key of `LANGUAGES`: the option's, else the environment's, else English.
    """
    return str(ctx.meta.get(_KEY) or language_of_environment())


def language_of_environment() -> str:
    """Tell which language the environment asks for: a key of `LANGUAGES`, else English."""
    wanted = os.environ.get(VARIABLE, "en")
    return wanted if wanted in LANGUAGES else "en"


def help_words(name: str, area: str = "command") -> str:
    """Say a help text; they are needed before any option is read, so the environment decides.

    Parameters
    ----------
    name
        Under `area` in the catalogue.
    area
        Which part of the catalogue.

    Returns
    -------
    str
        One or two sentences.
    """
    return say(message(f"{area}.{name}"), language_of_environment())


def _keep(ctx: click.Context, _parameter: click.Parameter, value: str | None) -> None:
    if value is not None:
        # Shared by a context and its parents, so that the outermost command can complain in it.
        ctx.meta[_KEY] = value


def language_option(command: _Wrapped) -> _Wrapped:
    """Give a command the option ``--language``.

    Parameters
    ----------
    command
        A function about to become a command.

    Returns
    -------
    Callable
        The same with the option.
    """
    return click.option(
        "--language",
        type=click.Choice(sorted(LANGUAGES)),
        callback=_keep,
        expose_value=False,
        is_eager=True,
        help=help_words("help_language"),
    )(command)
