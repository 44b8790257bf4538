"""`tailsway book flight`, `bare`, `powder`, `group`, `eye`: writes down what was seen."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path

import click

from classify.apart import read_clip
from classify.clip_store import keep_clip
from classify.evidence import ARROW_PARTS, BOW_PARTS
from classify.evidence_book import Seen, record, refuse_flight
from classify.evidence_payload import EvidenceKind
from classify.logbook import Version
from classify.report_json import reading_json
from tracker.opening import check_file
from tracker.types import InputError, message
from ui.book_chosen import chosen, date_option, file_type, help_of, setup_option
from ui.cause_words import spoken
from ui.command_known import known_from, known_options
from ui.command_logbook import book
from ui.command_number import NUMBER
from ui.command_words import language_of, language_option
from ui.progress_line import progress_on_stderr
from ui.reading_words import reading_lines
from ui.report_film import known_with_sheet
from ui.shelf import file_sha256
from ui.words import say

CM_PER_M = 100.0
GROUP_WAYS = ({"points"}, {"diameter", "arrows"}, {"score", "arrows", "face"})
"""A group is told in one of these ways; two at once could contradict each other."""


def pairs_cm(text: str, what: str) -> list[list[float]]:
    """Take impacts apart that were typed in centimetres.

    Parameters
    ----------
    text
        For example ``"6,0 5.5,-1"``: right and up of the mark, arrow by arrow.
    what
        Option or field, for the message.

    Returns
    -------
    list of [float, float]
        In metres.

    Raises
    ------
    InputError
        If one of them is no pair of numbers, or there is none.

    Examples
    --------
    >>> pairs_cm("6,0 5,-1", "--bare-cm")
    [[0.06, 0.0], [0.05, -0.01]]
    """
    points = []
    for pair in text.split():
        parts = pair.split(",")
        try:
            x, y = (float(part) for part in parts)
        except ValueError:
            raise InputError("logbook.pairs", what=what, found=pair) from None
        points.append([x / CM_PER_M, y / CM_PER_M])
    if not points:
        raise InputError("logbook.no_pairs", what=what)
    return points


def marks_from(texts: Sequence[str]) -> list[list[str]]:
    """Take apart what touched what.

    Parameters
    ----------
    texts
        For example ``["vane,rest"]``: part of the arrow, part of the bow.

    Returns
    -------
    list of [str, str]
        As the logbook keeps them.

    Raises
    ------
    InputError
        If one of them is no pair.

    Examples
    --------
    >>> marks_from(["lower vane, rest"])
    [['lower vane', 'rest']]
    """
    pairs = [[part.strip() for part in text.split(",")] for text in texts]
    for text, pair in zip(texts, pairs, strict=True):
        if len(pair) != 2:
            raise InputError(
                "tuning.powder_parts",
                found=text, arrow_parts=", ".join(ARROW_PARTS), bow_parts=", ".join(BOW_PARTS),
            )  # fmt: skip
    return pairs


def _keep(
    ctx: click.Context, archer: str, setup: str | None, kind: EvidenceKind,
    payload: dict[str, object], *, dated: str, note: str,
) -> Seen:  # fmt: skip
    it = chosen(archer, setup)
    newest = it.case().newest
    seen = record(it.book, newest, kind, payload, dated=dated, note=note)
    _say_kept(ctx, "kept_evidence", newest, seen)
    return seen


def _say_kept(ctx: click.Context, name: str, version: Version, seen: Seen) -> None:
    sentence = message(f"logbook.{name}", number=version.number, id=seen.id[:8])
    click.echo(say(sentence, language_of(ctx)))


@book.command("flight", help=help_of("flight"))
@click.argument("archer")
@click.argument("clip", type=file_type())
@click.option("--arrow-number", help=help_of("arrow_number"))
@setup_option
@date_option
@click.option("--note", default="", help=help_of("note"))
@known_options
@language_option
@click.pass_context
def flight_command(
    ctx: click.Context, /, archer: str, clip: Path, arrow_number: str | None, setup: str | None,
    dated: str, note: str, **typed: str | None,
) -> None:  # fmt: skip
    """Read a film and keep reading and film with the newest version of a set-up."""
    language = language_of(ctx)
    it = chosen(archer, setup)
    newest = it.case().newest
    # The reader looks too, but may have said by then that it is decoding a film that is not there.
    check_file(clip)
    known_here = known_with_sheet(known_from(typed), it.archer, newest)
    refuse_flight(
        it.book,
        newest,
        clip_sha256=file_sha256(clip),
        flight=known_here.flight if known_here.click is None else None,
        dated=dated,
    )
    with progress_on_stderr(language) as progress:
        result = read_clip(clip, known=known_here, progress=progress)
    kept = keep_clip(it.book, clip)
    known = {name: text for name, text in typed.items() if text}
    reading = reading_json(result.reading, lambda text: say(text, language))
    payload = {"reading": reading, "arrow": arrow_number, "known": known}
    seen = record(
        it.book, newest, "flight", payload, dated=dated, note=note, clip_sha256=kept.sha256
    )
    click.echo("\n".join(reading_lines(spoken(result.reading, language), language)))
    refused = result.reading.refused is not None
    _say_kept(ctx, "kept_refused" if refused else "kept_evidence", newest, seen)
    if refused:
        ctx.exit(3)


@book.command("reading", help=help_of("reading"))
@click.argument("archer")
@click.argument("file", type=file_type())
@click.option("--arrow-number", help=help_of("arrow_number"))
@setup_option
@date_option
@click.option("--note", default="", help=help_of("note"))
@language_option
@click.pass_context
def reading_command(
    ctx: click.Context, archer: str, file: Path, arrow_number: str | None, setup: str | None,
    dated: str, note: str,
) -> None:  # fmt: skip
    """Keep a reading that was printed with ``--json`` before."""
    try:
        reading = json.loads(file.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        raise InputError("logbook.no_reading_file", path=str(file)) from None
    payload: dict[str, object] = {"reading": reading, "arrow": arrow_number}
    _keep(ctx, archer, setup, "flight", payload, dated=dated, note=note)


@book.command("bare", help=help_of("bare"))
@click.argument("archer")
@click.option("--distance-m", type=NUMBER, required=True, help=help_of("distance"))
@click.option("--bare-cm", required=True, metavar="X,Y ...", help=help_of("bare_cm"))
@click.option("--fletched-cm", required=True, metavar="X,Y ...", help=help_of("fletched_cm"))
@click.option("--crosswind-m-s", type=NUMBER, help=help_of("crosswind"))
@setup_option
@date_option
@click.option("--note", default="", help=help_of("note"))
@language_option
@click.pass_context
def bare_command(
    ctx: click.Context, archer: str, distance_m: float, bare_cm: str, fletched_cm: str,
    crosswind_m_s: float | None, setup: str | None, dated: str, note: str,
) -> None:  # fmt: skip
    """Keep a bare-shaft test."""
    payload: dict[str, object] = {
        "distance_m": distance_m,
        "bare_m": pairs_cm(bare_cm, "--bare-cm"),
        "fletched_m": pairs_cm(fletched_cm, "--fletched-cm"),
        "crosswind_m_s": crosswind_m_s,
    }
    _keep(ctx, archer, setup, "bare shaft", payload, dated=dated, note=note)


@book.command("powder", help=help_of("powder"))
@click.argument("archer")
@click.option("--mark", "marks", multiple=True, metavar="ARROW PART,BOW PART",
              help=help_of("mark"))  # fmt: skip
@click.option("--clean", is_flag=True, help=help_of("powder_clean"))
@setup_option
@date_option
@click.option("--note", default="", help=help_of("note"))
@language_option
@click.pass_context
def powder_command(
    ctx: click.Context, archer: str, marks: tuple[str, ...], clean: bool, setup: str | None,
    dated: str, note: str,
) -> None:  # fmt: skip
    """Keep a powder test; that nothing was touched has to be said too."""
    if bool(marks) == clean:
        raise InputError(
            "logbook.powder_what",
            arrow_parts=", ".join(ARROW_PARTS), bow_parts=", ".join(BOW_PARTS),
        )  # fmt: skip
    _keep(ctx, archer, setup, "powder", {"marks": marks_from(marks)}, dated=dated, note=note)


@book.command("group", help=help_of("group"))
@click.argument("archer")
@click.option("--distance-m", type=NUMBER, required=True, help=help_of("distance"))
@click.option("--points-cm", metavar="X,Y ...", help=help_of("points_cm"))
@click.option("--diameter-cm", type=NUMBER, help=help_of("diameter_cm"))
@click.option("--score", type=NUMBER, help=help_of("score"))
@click.option("--arrows", type=int, help=help_of("arrows"))
@click.option("--face-cm", type=NUMBER, help=help_of("face"))
@click.option("--crosswind-m-s", type=NUMBER, help=help_of("crosswind"))
@setup_option
@date_option
@click.option("--note", default="", help=help_of("note"))
@language_option
@click.pass_context
def group_command(
    ctx: click.Context, archer: str, distance_m: float, points_cm: str | None,
    diameter_cm: float | None, score: float | None, arrows: int | None, face_cm: float | None,
    crosswind_m_s: float | None, setup: str | None, dated: str, note: str,
) -> None:  # fmt: skip
    """Keep a group as impacts, as a diameter, or as a score."""
    payload: dict[str, object] = {"distance_m": distance_m, "crosswind_m_s": crosswind_m_s}
    typed = {"points": points_cm, "diameter": diameter_cm, "score": score, "arrows": arrows,
             "face": face_cm}  # fmt: skip
    if {name for name, value in typed.items() if value is not None} not in GROUP_WAYS:
        raise InputError("logbook.group_what")
    if points_cm is not None:
        payload["points_m"] = pairs_cm(points_cm, "--points-cm")
    elif diameter_cm is not None:
        payload |= {"diameter_m": diameter_cm / CM_PER_M, "arrows": arrows}
    elif face_cm is not None:
        payload |= {"score": score, "arrows": arrows, "face_diameter_m": face_cm / CM_PER_M}
    _keep(ctx, archer, setup, "groups", payload, dated=dated, note=note)


@book.command("eye", help=help_of("eye"))
@click.argument("archer")
@click.option("--seen", multiple=True, metavar="FINDING", help=help_of("seen"))
@click.option("--groups", type=click.Choice(["good", "poor"]), help=help_of("groups_judged"))
@setup_option
@date_option
@click.option("--note", default="", help=help_of("note"))
@language_option
@click.pass_context
def eye_command(
    ctx: click.Context, archer: str, seen: tuple[str, ...], groups: str | None,
    setup: str | None, dated: str, note: str,
) -> None:  # fmt: skip
    """Keep what the coach saw by eye."""
    if not seen and groups is None:
        raise InputError("logbook.eye_what")
    names = [name if name.startswith("eye_") else f"eye_{name}" for name in seen]
    payload: dict[str, object] = {"seen": names, "groups_judged": groups}
    _keep(ctx, archer, setup, "eye", payload, dated=dated, note=note)
