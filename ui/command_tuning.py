"""`tailsway book next`, `done`, `compare`, `report`, `season`: what to do, and did it work."""

from __future__ import annotations

from pathlib import Path
from typing import cast

import click

from classify.casebook import propose
from classify.evidence_book import decide, decide_change, set_outcome
from classify.outcome import Axis, decision_between, judge_change
from classify.proposal_json import proposal_json
from classify.setup_change import WITHOUT_SHEET, suggested_changes
from classify.units import UnitSystem
from fixtures.season import play_season, season_there
from fixtures.season_stories import STORIES
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
from ui.command_logbook import book, fields_from, plain_json
from ui.command_words import language_of, language_option
from ui.proposal_words import proposal_lines
from ui.report import report_page
from ui.report_film import film_of
from ui.season_film import season_film
from ui.season_words import season_lines
from ui.track_csv import write_whole
from ui.words import say


@book.command("next", help=help_of("next"))
@click.argument("archer")
@setup_option
@click.option("--table", is_flag=True, help=help_of("table"))
@click.option("--json", "as_json", is_flag=True, help=help_of("json"))
@language_option
@click.pass_context
def next_command(
    ctx: click.Context, archer: str, setup: str | None, table: bool, as_json: bool
) -> None:
    """Propose the one next change."""
    language = language_of(ctx)
    proposal = propose(chosen(archer, setup).case(), language)
    if as_json:
        click.echo(plain_json(proposal_json(proposal, lambda text: say(text, language))))
    else:
        click.echo("\n".join(proposal_lines(proposal, language, table=table)))


@book.command("done", help=help_of("done"))
@click.argument("archer")
@setup_option
@set_option
@date_option
@click.option("--note", default="", help=help_of("note"))
@language_option
@click.pass_context
def done_command(
    ctx: click.Context, archer: str, setup: str | None, fields: tuple[str, ...], dated: str,
    note: str,
) -> None:  # fmt: skip
    """Write down that the proposal was followed; a change makes the next version of the sheet."""
    language = language_of(ctx)
    it = chosen(archer, setup)
    case = it.case()
    proposal = propose(case, language)
    said = proposal_json(proposal, lambda text: say(text, language))
    number = case.newest.number
    changes: dict[str, str] = {}
    if not proposal.is_test and proposal.cure != "keep":
        suggested = suggested_changes(
            proposal.cure, proposal.amount, case.newest.sheet, before=case.sheet_before
        )
        changes = {**suggested, **fields_from(fields)}
        in_words = proposal.cure in WITHOUT_SHEET
        if not changes and not (in_words and note.strip()):
            what = "done_words" if in_words else "done_what"
            raise InputError(f"logbook.{what}", change=proposal.change)
    if not proposal.is_test and proposal.cure != "keep":
        _, to = decide_change(
            it.book, case.newest, changes, cure=proposal.cure, amount=proposal.amount,
            dated=dated, proposal=said, reason=proposal.change, note=note,
        )  # fmt: skip
        number = to.number
    else:
        decide(
            it.book, case.newest, cure=proposal.cure, amount=proposal.amount, dated=dated,
            is_test=proposal.is_test, note=note, proposal=said,
        )  # fmt: skip
    sentence = message("logbook.decided", change=proposal.change, number=number)
    click.echo(say(sentence, language))


@book.command("compare", help=help_of("compare"))
@click.argument("archer")
@setup_option
@click.option("--before", type=int, help=help_of("before"))
@click.option("--after", type=int, help=help_of("after"))
@click.option("--axis", type=click.Choice(["across", "up_down"]), help=help_of("axis"))
@language_option
@click.pass_context
def compare_command(
    ctx: click.Context, archer: str, setup: str | None, before: int | None, after: int | None,
    axis: Axis | None,
) -> None:  # fmt: skip
    """Compare two versions, the newest two unless told; the outcome is kept with the change.

    A change is judged by what it was made for, so that a nocking point is not called useless
    because the swing from side to side stayed.
    """
    it = chosen(archer, setup)
    case = it.case(after)
    if len(it.case().versions) < 2:
        raise InputError("logbook.one_version")
    first = case.versions[-2:][0] if before is None else it.case(before).newest
    decision = decision_between(case, first, case.newest)
    judged = judge_change(it.book, first, case.newest, decision, axis=axis)
    lots = message(
        "logbook.compared", before=first.number, after=case.newest.number,
        before_flights=judged.flights[0], after_flights=judged.flights[1],
    )  # fmt: skip
    for sentence in (lots, *judged.sentences):
        click.echo(say(sentence, language_of(ctx)))
    if judged.outcome and decision is not None:
        set_outcome(it.book, decision, judged.outcome)


@book.command("report", help=help_of("report"))
@click.argument("archer")
@setup_option
@click.option("--version", "number", type=int, help=help_of("version"))
@click.option("--html", "html_to", type=file_type(), help=help_of("html"))
@click.option("--pdf", "pdf_to", type=file_type(), help=help_of("pdf"))
@click.option("--units", type=click.Choice(["imperial", "metric", "as typed"]),
              default="as typed", help=help_of("units"))  # fmt: skip
@language_option
@click.pass_context
def report_command(
    ctx: click.Context, archer: str, setup: str | None, number: int | None,
    html_to: Path | None, pdf_to: Path | None, units: str,
) -> None:  # fmt: skip
    """Write the one-page report."""
    if html_to is None and pdf_to is None:
        raise InputError("logbook.report_where")
    it = chosen(archer, setup)
    case = it.case(number)
    page = report_page(
        it.book, case, it.bow.name, language=language_of(ctx),
        units=cast("UnitSystem", units), film=film_of(it.book, case),
    )  # fmt: skip
    if html_to is not None:
        from ui.report_html import report_html  # noqa: PLC0415 - slow to load, seldom needed

        write_whole(html_to, report_html(page))
    if pdf_to is not None:
        from ui.report_pdf import report_pdf  # noqa: PLC0415 - slow to load, seldom needed

        write_whole(pdf_to, report_pdf(page))
    for path in (html_to, pdf_to):
        if path is not None:
            click.echo(say(message("logbook.written", path=str(path)), language_of(ctx)))


@book.command("season", help=help_of("season"))
@click.option("--films", is_flag=True, help=help_of("films"))
@language_option
@click.pass_context
def season_command(ctx: click.Context, films: bool) -> None:
    """Play the worked season into the logbook and print every round."""
    the = the_book()
    if season_there(the):
        archers = ", ".join(story.name for story in STORIES)
        click.echo(say(message("logbook.season_there", archers=archers), language_of(ctx)))
        return
    rounds = play_season(the, films=season_film if films else None)
    click.echo("\n".join(season_lines(rounds, language_of(ctx))))
    if any(r.proposed != r.wanted for r in rounds):
        ctx.exit(1)
