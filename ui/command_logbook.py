"""`tailsway book`: archers, set-ups and the logbook itself; prints, and computes nothing.

Evidence is in `ui.command_evidence`, proposals and reports in `ui.command_tuning`; both hang their
commands onto the group made here.
"""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import cast, get_args

import click

from classify import logbook
from classify.exchange import Exchanged, export_zip, import_zip
from classify.logbook_search import search
from classify.logbook_undo import Deletable, delete, undo_delete
from classify.setup_sheet import questions, sheet_fields
from classify.setup_worked_out import worked_out
from classify.types import Hand
from classify.units import UnitSystem, shown
from tracker.types import InputError, message
from ui.book_chosen import (
    chosen,
    date_option,
    file_type,
    help_of,
    set_option,
    setup_option,
    the_book,
)
from ui.command_words import language_of, language_option
from ui.decided_words import reason_in
from ui.words import say


@click.group(help=help_of("book"))
def book() -> None:
    """Keep archers, set-ups, evidence and decisions."""


def fields_from(pairs: tuple[str, ...]) -> dict[str, str]:
    """Take ``FIELD=VALUE`` texts apart.

    Parameters
    ----------
    pairs
        As typed.

    Returns
    -------
    dict
        Value by field.

    Raises
    ------
    InputError
        If there is no equals sign in one of them, or a field is there twice.
    """
    fields = {}
    for pair in pairs:
        name, equals, value = pair.partition("=")
        if not equals:
            raise InputError("logbook.not_a_field", found=pair, known=", ".join(sheet_fields()))
        if name.strip() in fields:
            raise InputError("logbook.field_twice", field=name.strip())
        fields[name.strip()] = value.strip()
    return fields


@book.command("archer", help=help_of("archer"))
@click.argument("name")
@click.option("--hand", type=click.Choice(get_args(Hand)), help=help_of("hand"))
@click.option("--notes", default="", help=help_of("notes"))
@click.option("--reason", default="", help=help_of("archer_reason"))
@language_option
@click.pass_context
def archer_command(
    ctx: click.Context, name: str, hand: Hand | None, notes: str, reason: str
) -> None:
    """Write an archer into the logbook, or the hand of one that stands there without."""
    the = the_book()
    there = next((one for one in logbook.archers(the) if one.name == name.strip()), None)
    if there is None or hand in (None, there.hand):
        kept = logbook.add_archer(the, name, hand=hand, notes=notes)
        said = message("logbook.kept_archer", name=kept.name)
    elif there.hand is not None and not reason.strip():
        raise InputError(f"logbook.other_hand_{there.hand}", name=there.name)
    else:
        logbook.change_archer(
            the, there, hand=hand, notes=notes or there.notes, reason=reason.strip() or "hand"
        )
        said = message(f"logbook.kept_hand_{hand}", name=there.name)
    click.echo(say(said, language_of(ctx)))


@book.command("archers", help=help_of("archers"))
@language_option
@click.pass_context
def archers_command(ctx: click.Context) -> None:
    """List archers with their set-ups."""
    the = the_book()
    for archer in logbook.archers(the):
        hand = say(message(f"report.hand_{archer.hand or 'unknown'}"), language_of(ctx))
        bows = ", ".join(bow.name for bow in logbook.setups(the, archer))
        click.echo(f"{archer.name} ({hand}): {bows or '-'}")


@book.command("setup", help=help_of("new_setup"))
@click.argument("archer")
@click.argument("name")
@set_option
@date_option
@click.option("--reason", default="", help=help_of("reason"))
@language_option
@click.pass_context
def setup_command(
    ctx: click.Context, archer: str, name: str, fields: tuple[str, ...], dated: str, reason: str
) -> None:
    """Start a set-up."""
    the = the_book()
    owner = logbook.find_archer(the, archer)
    version = logbook.add_setup(
        the, owner, name, typed=fields_from(fields), dated=dated, reason=reason
    )
    _print_version(version, "as typed", language_of(ctx))


@book.command("change", help=help_of("change"))
@click.argument("archer")
@setup_option
@set_option
@date_option
@click.option("--reason", required=True, help=help_of("reason"))
@language_option
@click.pass_context
def change_command(
    ctx: click.Context, archer: str, setup: str | None, fields: tuple[str, ...], dated: str,
    reason: str,
) -> None:  # fmt: skip
    """Make the next version of a set-up by hand."""
    it = chosen(archer, setup)
    version = logbook.change_setup(
        it.book, it.case().newest, fields_from(fields), dated=dated, reason=reason
    )
    _print_version(version, "as typed", language_of(ctx))


@book.command("sheet", help=help_of("sheet"))
@click.argument("archer")
@setup_option
@click.option("--version", "number", type=int, help=help_of("version"))
@click.option("--units", type=click.Choice(get_args(UnitSystem)), default="as typed",
              help=help_of("units"))  # fmt: skip
@language_option
@click.pass_context
def sheet_command(
    ctx: click.Context, archer: str, setup: str | None, number: int | None, units: UnitSystem
) -> None:
    """Print a set-up sheet with what follows from it."""
    case, language = chosen(archer, setup).case(number), language_of(ctx)
    reason = reason_in(case.newest.reason, case.archer.hand, language)
    _print_version(replace(case.newest, reason=reason), units, language)


def _print_version(version: logbook.Version, units: UnitSystem, language: str) -> None:
    head = message(
        "logbook.version_head", number=version.number, dated=version.dated, reason=version.reason
    )
    click.echo(say(head, language))
    for name in sheet_fields():
        if name in version.sheet.typed:
            quantity = version.sheet.quantities.get(name)
            value = version.sheet.typed[name] if quantity is None else shown(quantity, units)
            click.echo(f"  {say(message(f'logbook.field_{name}'), language)}: {value}")
    for line in worked_out(version.sheet):
        click.echo(f"  {say(message(f'logbook.worked_{line.name}'), language)}: "
                   f"{say(line.formula, language)}")  # fmt: skip
        if line.question is not None:
            click.echo("  ? " + say(line.question, language))
    for question in questions(version.sheet):
        click.echo("  ? " + say(question, language))


@book.command("search", help=help_of("search"))
@click.argument("words", nargs=-1, required=True)
def search_command(words: tuple[str, ...]) -> None:
    """Print where all words stand."""
    for hit in search(the_book(), " ".join(words)):
        place = " / ".join(part for part in (hit.archer, hit.setup, hit.dated) if part)
        click.echo(f"{hit.where} {hit.id[:8]}  {place}: {_excerpt(hit.text, words)}")


def _excerpt(text: str, words: tuple[str, ...], reach: int = 45) -> str:
    """Show only what stands about the first word that was found."""
    at = max(text.casefold().find(words[0].casefold()), 0)
    cut = text[max(at - reach, 0) : at + reach].replace("\n", " ")
    return f"{'…' if at > reach else ''}{cut}{'…' if len(text) > at + reach else ''}"


@book.command("delete", help=help_of("delete"))
@click.argument("archer")
@setup_option
@click.option("--evidence", metavar="ID", help=help_of("evidence_id"))
@click.option("--whole", is_flag=True, help=help_of("whole"))
@language_option
@click.pass_context
def delete_command(
    ctx: click.Context, archer: str, setup: str | None, evidence: str | None, whole: bool
) -> None:
    """Take evidence, a set-up or an archer out of sight."""
    the = the_book()
    owner = logbook.find_archer(the, archer)
    what: tuple[Deletable, str]
    if evidence is not None:
        seen = [item for lot in chosen(archer, setup).case().seen for item in lot]
        match = [item.id for item in seen if item.id.startswith(evidence)]
        if len(match) != 1:
            raise InputError("logbook.not_there", what="evidence", id=evidence)
        what = ("evidence", match[0])
    elif setup is not None:
        what = ("setups", logbook.find_setup(the, owner, setup).id)
    elif whole:
        what = ("archers", owner.id)
    else:
        raise InputError("logbook.delete_what")
    delete(the, *what)
    click.echo(say(message("logbook.deleted", what=what[0]), language_of(ctx)))


@book.command("undo", help=help_of("undo"))
@language_option
@click.pass_context
def undo_command(ctx: click.Context) -> None:
    """Bring back what was deleted last."""
    table, _ = undo_delete(the_book())
    click.echo(say(message("logbook.undone", what=table), language_of(ctx)))


@book.command("export", help=help_of("export"))
@click.argument("file", type=file_type())
@language_option
@click.pass_context
def export_command(ctx: click.Context, file: Path) -> None:
    """Write the whole logbook into a zip file."""
    _print_exchanged(export_zip(the_book(), file), "exported", "clip_gone", language_of(ctx))


@book.command("import", help=help_of("import"))
@click.argument("file", type=file_type())
@language_option
@click.pass_context
def import_command(ctx: click.Context, file: Path) -> None:
    """Read a zip file into the logbook."""
    _print_exchanged(import_zip(the_book(), file), "imported", "film_missing", language_of(ctx))


def _print_exchanged(exchanged: Exchanged, what: str, gone: str, language: str) -> None:
    rows = sum(exchanged.rows.values())
    click.echo(say(message(f"logbook.{what}", rows=rows, clips=exchanged.clips), language))
    for name in exchanged.missing_clips:
        click.echo(say(message(f"logbook.{gone}", name=name), language), err=True)


def plain_json(value: object) -> str:
    """Write plain values as one JSON object."""
    return json.dumps(cast("dict[str, object]", value), ensure_ascii=False, allow_nan=False)
