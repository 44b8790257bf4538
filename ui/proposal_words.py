"""Turns a proposal into lines of text for the command line; computes nothing."""

from __future__ import annotations

from collections.abc import Iterator

from classify.knowledge import load_knowledge
from classify.reasoning import NextChange, Row
from tracker.types import message
from ui.words import say


def proposal_lines(proposal: NextChange, language: str = "en", *, table: bool = False) -> list[str]:
    """Say what to do next, in about ten lines.

    Parameters
    ----------
    proposal
        From the reasoning.
    language
        Two letters.
    table
        Whether to add every cause with what speaks for and against it.

    Returns
    -------
    list of str
        The change first.
    """
    return list(_lines(proposal, language, table=table))


def _lines(proposal: NextChange, language: str, *, table: bool) -> Iterator[str]:
    def labelled(name: str, text: str) -> str:
        return f"{say(message(f'tuning.head_{name}'), language)} {text}"

    yield labelled("next", proposal.change)
    yield labelled("why", f"{proposal.cause_title}. {proposal.why}")
    yield labelled("first", proposal.before_others)
    yield labelled("clip", proposal.expect_clip)
    yield labelled("test", proposal.expect_test)
    yield labelled("stop", proposal.stop)
    yield labelled("care", proposal.caution)
    yield labelled("source", proposal.source)
    for text in proposal.conflicts:
        yield labelled("conflict", say(text, language))
    for text in (*proposal.passed_over, *proposal.findings.notes):
        yield "  " + say(text, language)
    if proposal.later:
        yield labelled("later", "; ".join(proposal.later))
    if table:
        yield ""
        yield say(message("tuning.table_intro", act_from=_act_from()), language)
        for row in proposal.table:
            yield from _row_lines(row, language)


def _act_from() -> float:
    return load_knowledge(None).act_from


def _row_lines(row: Row, language: str) -> Iterator[str]:
    yield f"{row.support:+5.1f}  {row.title}"
    if row.start:
        yield f"        {row.start:+5.1f}  " + say(message("tuning.table_start"), language)
    for _, title, weight in (*row.pro, *row.con):
        yield f"        {weight:+5.1f}  {title}"
