"""One archer's case: a set-up in the logbook goes in; its evidence and its next change come out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from classify.compare import Comparison, compare
from classify.evidence import Evidence, PowderTest, Tried
from classify.evidence_book import Decision, Outcome, Seen, decisions_of, evidence_of
from classify.evidence_payload import (
    read_bare,
    read_eye,
    read_flight,
    read_group,
    read_powder,
)
from classify.findings import WORTH_MM
from classify.logbook import Archer, Version, versions
from classify.logbook_file import LogbookFile
from classify.reasoning import NextChange, next_change
from classify.setup_sheet import differences, sheet_findings
from classify.setup_worked_out import foc_step_percent, sheet_foc_percent
from classify.several import Swing
from tracker.types import InputError

CLEARANCE_FIELDS = frozenset({
    "brace_height", "nock_fit", "rest", "plunger", "centre_shot", "shaft", "shaft_diameter",
    "fletching_mass", "nock_turn", "vane_offset", "vanes", "vane_length", "vane_height",
    "vane_from_nock",
})  # fmt: skip
"""Fields whose change makes an earlier clean powder test worthless."""

Axis = Literal["across", "up_down"]


@dataclass(frozen=True, kw_only=True)
class Case:
    """A set-up with everything the logbook holds about its newest version.

    Attributes
    ----------
    archer
        Whose.
    versions
        Of the sheet, oldest first.
    seen
        Evidence by version, in the same order.
    decisions
        Oldest first.
    evidence
        What reasoning gets.
    """

    archer: Archer
    versions: tuple[Version, ...]
    seen: tuple[tuple[Seen, ...], ...]
    decisions: tuple[Decision, ...]
    evidence: Evidence

    @property
    def newest(self) -> Version:
        """The version that stands now."""
        return self.versions[-1]


def open_case(book: LogbookFile, archer: Archer, setup_id: str, upto: int | None = None) -> Case:
    """Gather what the logbook holds about a set-up.

    Parameters
    ----------
    book, archer, setup_id
        Logbook, whose, which.
    upto
        Number of the version to look at as if it were the newest; None for the newest.

    Returns
    -------
    Case
        Evidence of that version; a clean powder test of an earlier version still counts while
        nothing was changed that decides what touches what.

    Raises
    ------
    InputError
        If there is no such version.
    """
    sheets = [v for v in versions(book, setup_id) if upto is None or v.number <= upto]
    if not sheets:
        raise InputError("logbook.no_version", number=upto or 0)
    seen = tuple(tuple(evidence_of(book, version)) for version in sheets)
    numbers = {version.id for version in sheets}
    decisions = tuple(d for d in decisions_of(book, setup_id) if d.version_id in numbers)
    return Case(
        archer=archer,
        versions=tuple(sheets),
        seen=seen,
        decisions=decisions,
        evidence=_evidence(sheets, seen, decisions),
    )


def propose(case: Case, language: str = "en") -> NextChange:
    """Propose the one next change for a case.

    Parameters
    ----------
    case
        From `open_case`.
    language
        Two letters.

    Returns
    -------
    NextChange
        See `classify.reasoning.next_change`.
    """
    return next_change(case.evidence, hand=case.archer.hand, language=language)


def _evidence(
    sheets: Sequence[Version], seen: Sequence[Sequence[Seen]], decisions: Sequence[Decision]
) -> Evidence:
    sheet, here = sheets[-1].sheet, seen[-1]

    def of(kind: str) -> list[dict[str, object]]:
        return [dict(item.payload) for item in here if item.kind == kind]

    eyes = [read_eye(payload) for payload in of("eye")]
    judged = [judgement for _, judgement in eyes if judgement is not None]
    winds = [
        float(str(payload["crosswind_m_s"]))
        for payload in [*of("bare shaft"), *of("groups")]
        if payload.get("crosswind_m_s") is not None
    ]
    foc = sheet_foc_percent(sheet)
    step = foc_step_percent(sheet)
    done = {version.id for version in sheets}
    return Evidence(
        flights=tuple(read_flight(payload) for payload in of("flight")),
        bare=tuple(read_bare(payload) for payload in of("bare shaft")),
        powder=_powder(sheets, seen),
        groups=tuple(read_group(payload) for payload in of("groups")),
        groups_judged=judged[-1] if judged else None,
        eye=tuple(dict.fromkeys(name for names, _ in eyes for name in names)),
        crosswind_m_s=max(winds) if winds else None,
        sheet=sheet_findings(sheet, foc_percent=foc),
        tried=tuple(
            Tried(cure=d.cure, amount=d.amount, outcome=d.outcome)
            for d in decisions
            if not d.is_test and d.to_version_id in done
        ),
        holds_60_s={"yes": True, "no": False}.get(sheet.typed.get("holds_60_s", "")),
        foc_percent=foc,
        foc_step_percent=1.1 if step is None else step,
    )


def _powder(sheets: Sequence[Version], seen: Sequence[Sequence[Seen]]) -> tuple[PowderTest, ...]:
    """Powder tests of this version, else the last clean one that still counts."""
    here = [read_powder(item.payload) for item in seen[-1] if item.kind == "powder"]
    if here:
        return tuple(here)
    for k in range(len(sheets) - 2, -1, -1):
        changed = {name for name, _, _ in differences(sheets[k].sheet, sheets[-1].sheet)}
        if changed & CLEARANCE_FIELDS:
            return ()
        earlier = [read_powder(item.payload) for item in seen[k] if item.kind == "powder"]
        if earlier:
            clean = all(part == "shaft" for part, _ in earlier[-1].marks)
            return (earlier[-1],) if clean else ()
    return ()


def before_and_after(
    book: LogbookFile, before: Version, after: Version, axis: Axis, *, worth_mm: float = WORTH_MM
) -> Comparison:
    """Compare the swings of two versions of a set-up along one axis.

    Parameters
    ----------
    book, before, after
        Logbook and the two versions.
    axis
        "across" or "up_down".
    worth_mm
        The smallest change worth keeping.

    Returns
    -------
    Comparison
        In millimetres; see `classify.compare.compare`.

    Raises
    ------
    InputError
        If either version has no flight with a swing in millimetres.
    """
    lots = [_swings(evidence_of(book, version), axis) for version in (before, after)]
    return compare(lots[0], lots[1], worth=worth_mm)


def _swings(seen: Sequence[Seen], axis: Axis) -> list[Swing]:
    flights = [read_flight(item.payload) for item in seen if item.kind == "flight"]
    return [
        swing
        for flight in flights
        if not flight.refused and (swing := getattr(flight, axis)) is not None
    ]


def outcome_of(comparison: Comparison) -> Outcome | None:
    """Say in one word what a comparison means for what is tried next; None if nothing yet."""
    if comparison.verdict == "shoot more":
        return None
    if comparison.verdict == "keep":
        return "better"
    return "worse" if comparison.real else "same"
