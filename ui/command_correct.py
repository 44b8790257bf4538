"""`tailsway book seen`, `correct`: list what was written down, and put it right, history kept."""

from __future__ import annotations

import json

import click

from classify.evidence_book import Seen, correct
from classify.logbook_undo import history
from tracker.types import InputError, message
from ui.book_chosen import chosen, help_of, setup_option
from ui.command_evidence import marks_from, pairs_cm
from ui.command_logbook import book
from ui.command_words import language_of, language_option
from ui.known_input import decimal
from ui.words import say

TEXTS = ("arrow",)
COUNTS = ("arrows",)
POINTS = ("bare_m", "fletched_m", "points_m")
MOST_SHOWN = 160


@book.command("seen", help=help_of("seen_list"))
@click.argument("archer")
@setup_option
@language_option
@click.pass_context
def seen_command(ctx: click.Context, archer: str, setup: str | None) -> None:
    """List all evidence of a set-up with its history."""
    it = chosen(archer, setup)
    case = it.case()
    for version, lot in zip(case.versions, case.seen, strict=True):
        for one in lot:
            click.echo(f"{one.id[:8]}  v{version.number}  {one.dated}  {one.kind}: {_short(one)}")
            for when, reason, row in history(it.book, one.id):
                stood = str(row["payload_json"])[:MOST_SHOWN]
                past = message("logbook.stood_before", when=when[:10], reason=reason, payload=stood)
                click.echo("    " + say(past, language_of(ctx)))


def _short(seen: Seen) -> str:
    """Show the payload on one line; of a reading only its label."""
    payload = dict(seen.payload)
    reading = payload.pop("reading", None)
    if isinstance(reading, dict):
        payload["label"] = reading.get("label")
    return json.dumps(payload, ensure_ascii=False)[:MOST_SHOWN]


@book.command("correct", help=help_of("correct"))
@click.argument("archer")
@click.option("--evidence", required=True, metavar="ID", help=help_of("evidence_id"))
@click.option("--set", "fields", multiple=True, required=True, metavar="FIELD=VALUE",
              help=help_of("correct_set"))  # fmt: skip
@click.option("--reason", required=True, help=help_of("reason"))
@setup_option
@language_option
@click.pass_context
def correct_command(
    ctx: click.Context, archer: str, evidence: str, fields: tuple[str, ...], reason: str,
    setup: str | None,
) -> None:  # fmt: skip
    """Correct one piece of evidence; what stood there before is kept."""
    it = chosen(archer, setup)
    match = [one for lot in it.case().seen for one in lot if one.id.startswith(evidence)]
    if len(match) != 1:
        raise InputError("logbook.not_there", what="evidence", id=evidence)
    changes: dict[str, object] = {}
    for name, value in (_value(pair, match[0]) for pair in fields):
        if name in changes:
            raise InputError("logbook.field_twice", field=name)
        changes[name] = value
    correct(it.book, match[0], {**match[0].payload, **changes}, reason=reason)
    click.echo(say(message("logbook.corrected", id=match[0].id[:8]), language_of(ctx)))


def _value(pair: str, seen: Seen) -> tuple[str, object]:
    """Take ``FIELD=VALUE`` apart: impacts in centimetres, powder marks, numbers; blank unknown."""
    name, equals, text = pair.partition("=")
    name, text = name.strip(), text.strip()
    known = sorted({*seen.payload, "crosswind_m_s"} - {"reading", "known"})
    if not equals or name not in known:
        raise InputError("logbook.not_a_field", found=pair, known=", ".join(known))
    if not text:
        return name, None
    if name in POINTS:
        return name, pairs_cm(text, name)
    if name == "marks":
        return name, marks_from(text.split(";"))
    if name == "seen":
        return name, [f"eye_{part.strip().removeprefix('eye_')}" for part in text.split(",")]
    if name in (*TEXTS, "groups_judged"):
        return name, text
    try:
        number = decimal(text)
    except ValueError:
        raise InputError("logbook.plain_number", field=name, found=text) from None
    return name, int(number) if name in COUNTS else number
