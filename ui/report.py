"""The one-page report for the archer: a case goes in, everything that stands on the page comes out.

Computes nothing; `ui.report_html` and `ui.report_pdf` lay it out.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass

from classify.casebook import Case, propose, was_done
from classify.evidence_payload import read_bare
from classify.findings import Findings
from classify.knowledge import load_knowledge
from classify.logbook_file import LogbookFile
from classify.outcome import decision_between, judge_change
from classify.reasoning import NextChange
from classify.setup_sheet import SetUp, differences, questions, sheet_fields
from classify.setup_worked_out import worked_out
from classify.types import Reading
from classify.units import UnitSystem
from tracker.types import InputError, message
from ui.decided_words import decided_change
from ui.figure import Figure
from ui.report_figures import Say, impacts_figure, swing_figure, versions_figure
from ui.rounding import with_error
from ui.sheet_words import sheet_text
from ui.words import say


@dataclass(frozen=True, kw_only=True, eq=False)
class FilmedFlight:
    """A film that was read, for its pictures.

    Attributes
    ----------
    reading
        What was read.
    strobe_jpeg
        The flight on one still; None without one.
    """

    reading: Reading
    strobe_jpeg: bytes | None


@dataclass(frozen=True, kw_only=True)
class SheetRow:
    """One line of the set-up.

    Attributes
    ----------
    label, value
        As shown.
    before
        What it was in the version before; None if it did not change.
    """

    label: str
    value: str
    before: str | None


@dataclass(frozen=True, kw_only=True, eq=False)
class ReportPage:
    """Everything that stands on the page, in words.

    Attributes
    ----------
    language
        Two letters.
    title, archer, bow, version, dated
        Its head.
    rows, worked
        The set-up sheet, and what follows from it (label, value).
    seen
        What was seen, one sentence each.
    doubts
        What contradicts, or qualifies.
    strobe_jpeg, figures
        Pictures.
    next_title, change, reasons, expect, stop, caution
        What to do next.
    done
        What was done before: (when, what, how it went).
    always
        The cautions that stand on every page.
    words
        Headings by name.
    """

    language: str
    title: str
    archer: str
    bow: str
    version: str
    dated: str
    rows: tuple[SheetRow, ...]
    worked: tuple[tuple[str, str], ...]
    seen: tuple[str, ...]
    doubts: tuple[str, ...]
    strobe_jpeg: bytes | None
    figures: tuple[Figure, ...]
    next_title: str
    change: str
    reasons: tuple[str, ...]
    expect: tuple[str, ...]
    stop: str
    caution: str
    done: tuple[tuple[str, str, str], ...]
    always: str
    words: dict[str, str]


MEASURED = ("flight", "several flights", "bare shaft", "groups")
"""Kinds of finding that come with a probability worth showing."""

HEADINGS = ("seen", "sheet", "done", "expect", "stop", "caution", "was", "doubts", "strobe")


def report_page(
    book: LogbookFile, case: Case, bow: str, *, language: str = "en",
    units: UnitSystem = "as typed", film: FilmedFlight | None = None,
) -> ReportPage:  # fmt: skip
    """Put the report of a case together.

    Parameters
    ----------
    book, case
        The logbook and the case opened from it.
    bow
        Name of the set-up.
    language
        Two letters.
    units
        In which the sheet is shown.
    film
        A flight of this version, for its pictures.

    Returns
    -------
    ReportPage
        In words.
    """

    def words(name: str, **values: str | int | float) -> str:
        return say(message(f"report.{name}", **values), language)

    proposal = propose(case, language)
    findings = proposal.findings
    newest = case.newest
    hand = words(f"hand_{case.archer.hand or 'unknown'}")
    return ReportPage(
        language=language,
        title=words("title"),
        archer=f"{case.archer.name}, {hand}",
        bow=bow,
        version=words("version", number=newest.number),
        dated=newest.dated,
        rows=tuple(_rows(case, units, language)),
        worked=tuple(_worked(newest.sheet, language)),
        seen=tuple(_seen(book, case, findings, language)),
        doubts=tuple(
            say(text, language)
            for text in (*findings.conflicts, *findings.notes, *questions(newest.sheet))
        ),
        strobe_jpeg=None if film is None else film.strobe_jpeg,
        figures=tuple(_figures(case, findings, film, words)),
        next_title=words("next_keep" if proposal.cure == "keep" else "next"),
        change=proposal.change,
        reasons=_reasons(proposal),
        expect=(proposal.expect_clip, proposal.expect_test),
        stop=proposal.stop,
        caution=proposal.caution,
        done=tuple(_done(case, language)),
        always=words("always"),
        words={name: words(f"heading_{name}") for name in HEADINGS}
        | ({"expect": words("heading_test")} if proposal.is_test else {}),
    )


def _reasons(proposal: NextChange) -> tuple[str, ...]:
    because = f"{proposal.cause_title}. {proposal.why}"
    return (because, proposal.before_others)


def _rows(case: Case, units: UnitSystem, language: str) -> Iterator[SheetRow]:
    sheet = case.newest.sheet
    before: dict[str, str] = {}
    if len(case.versions) > 1:
        earlier = case.versions[-2].sheet
        before = {
            name: sheet_text(earlier, name, language) for name, _, _ in differences(earlier, sheet)
        }
    for name in sheet_fields():
        if name in sheet.typed:
            value = sheet_text(sheet, name, language, units)
            label = say(message(f"logbook.field_{name}"), language)
            yield SheetRow(label=label, value=value, before=before.get(name))


def _worked(sheet: SetUp, language: str) -> Iterator[tuple[str, str]]:
    for line in worked_out(sheet):
        value = f"{line.value:.1f} {line.unit}"
        if line.low is not None and line.high is not None:
            value = f"{line.low:.1f}–{line.high:.1f} {line.unit}"
        yield say(message(f"logbook.worked_{line.name}"), language), value


def _seen(book: LogbookFile, case: Case, findings: Findings, language: str) -> Iterator[str]:
    flights = sum(not flight.refused for flight in case.evidence.flights)
    if flights:
        yield say(message("report.flights", count=flights), language)
    for axis in ("across", "up_down"):
        part = findings.across if axis == "across" else findings.up_down
        if part is not None:
            swing = with_error(part.mean, part.sigma)
            yield say(message(f"report.swing_{axis}", swing=swing), language)
    titles = load_knowledge(case.archer.hand, language).findings
    for name, sure in findings.sure.items():
        finding = titles[name]
        if finding.kind not in MEASURED:
            yield finding.title
            continue
        plain, percent = finding.title.rstrip("."), 100 * min(sure, 0.99)
        yield say(message("report.finding", title=plain, percent=percent), language)
    yield from _compared(book, case, language)


def _compared(book: LogbookFile, case: Case, language: str) -> Iterator[str]:
    """Say what the last change did, by what it was made for."""
    if len(case.versions) < 2:
        return
    before, after = case.versions[-2:]
    decision = decision_between(case, before, after)
    with suppress(InputError):  # nothing to compare: nothing to say
        for sentence in judge_change(book, before, after, decision).sentences:
            yield say(sentence, language)


def _figures(
    case: Case, findings: Findings, film: FilmedFlight | None, words: Say
) -> Iterator[Figure]:
    curve = None if film is None else swing_figure(film.reading, words)
    if curve is not None:
        yield curve
    over_versions = versions_figure(case, words)
    if over_versions is not None:
        yield over_versions
    tests = [item for item in case.seen[-1] if item.kind == "bare shaft"]
    if tests and findings.offset is not None:
        yield impacts_figure(read_bare(tests[-1].payload), findings.offset, words)


def _done(case: Case, language: str) -> Iterator[tuple[str, str, str]]:
    made = {version.id for version in case.versions}
    for decision in case.decisions:
        if not was_done(decision, made):
            continue
        outcome = say(message(f"report.outcome_{decision.outcome or 'none'}"), language)
        what = decided_change(decision, case.archer.hand, language)
        yield decision.dated, what, outcome
