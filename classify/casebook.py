"""One archer's case: a set-up in the logbook goes in; its evidence and its next change come out."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

from classify.evidence import Evidence, FlightSeen, PowderTest, Tried
from classify.evidence_book import Decision, Seen, decisions_of, evidence_of
from classify.evidence_once import each_once
from classify.evidence_payload import (
    read_bare,
    read_eye,
    read_flight,
    read_group,
    read_powder,
)
from classify.findings import WINDY_M_S
from classify.logbook import Archer, Version, versions
from classify.logbook_file import LogbookFile
from classify.reasoning import NextChange, next_change
from classify.setup_change import WITHOUT_SHEET, at_end
from classify.setup_sheet import SetUp, differences, sheet_findings
from classify.setup_worked_out import GRAIN_KG, POUND_N, foc_step_percent, sheet_foc_percent
from tracker.types import InputError

CLEARANCE_FIELDS = frozenset({
    "brace_height", "nock_fit", "rest", "plunger", "centre_shot", "shaft", "shaft_diameter",
    "fletching_mass", "nock_turn", "vane_offset", "vanes", "vane_length", "vane_height",
    "vane_from_nock", "spine", "arrow_length", "string", "strands", "limbs", "tiller",
})  # fmt: skip
"""Fields whose change makes an earlier clean powder test worthless."""

CLEARANCE_MOVED: Mapping[str, float] = {
    "nocking_point": 2e-3,
    "draw_weight": 3 * POUND_N,
    "point_mass": 20 * GRAIN_KG,
}
"""The same of fields that are stepped finely, from so much on (SI units); chosen here. Less moves
the arrow by less than a vane is thick, or bends it by less than shots differ."""

SHAFT_CURES = frozenset({"stiffer_shaft", "weaker_shaft", "shorten_shaft"})
"""Changes of the shaft itself: after one of another spine all others may be tried anew."""

USUAL_FOC_STEP_PERCENT = 1.1
"""What ten grains at the point do to the balance where the masses are not known; chosen here."""


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

    @property
    def sheet_before(self) -> SetUp | None:
        """The sheet before the last change; None if there was none."""
        return self.versions[-2].sheet if len(self.versions) > 1 else None


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
    if not sheets or upto not in (None, sheets[-1].number):
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
    sheet, here = sheets[-1].sheet, _seen_of_newest(sheets, seen, decisions)

    def of(kind: str) -> list[dict[str, object]]:
        return [dict(item.payload) for item in here if item.kind == kind]

    bare, windy_bare = in_calm_if_possible(of("bare shaft"))
    groups, windy_groups = in_calm_if_possible(of("groups"))
    eyes = [read_eye(payload) for payload in of("eye")]
    judged = [judgement for _, judgement in eyes if judgement is not None]
    step = foc_step_percent(sheet) or USUAL_FOC_STEP_PERCENT
    foc = _foc_percent(sheets, step)
    return Evidence(
        flights=tuple(flights_seen(here)),
        bare=tuple(read_bare(payload) for payload in bare),
        powder=_powder(sheets, seen),
        groups=tuple(read_group(payload) for payload in groups),
        groups_judged=judged[-1] if judged else None,
        eye=tuple(dict.fromkeys(name for names, _ in eyes for name in names)),
        crosswind_m_s=_strongest_wind(bare),
        groups_crosswind_m_s=_strongest_wind(groups),
        windy_left_out=windy_bare + windy_groups,
        sheet=sheet_findings(sheet, foc_percent=foc),
        tried=_tried(sheets, decisions),
        tested=tuple(d.cure for d in decisions if d.is_test and d.version_id == sheets[-1].id),
        made_worse=_made_worse(sheets, decisions),
        at_end=at_end(sheet),
        holds_60_s={"yes": True, "no": False}.get(sheet.typed.get("holds_60_s", "")),
        foc_percent=foc,
        foc_step_percent=step,
    )


def _seen_of_newest(
    sheets: Sequence[Version], seen: Sequence[Sequence[Seen]], decisions: Sequence[Decision]
) -> Sequence[Seen]:
    """List what was seen of the newest set-up and of what taking a change back restored."""
    made = _that_made(sheets[-1], decisions)
    restored = (
        len(sheets) > 2
        and made is not None
        and made.cure == "take_back"
        and sheets[-3].sheet.typed == sheets[-1].sheet.typed
    )
    return [*seen[-3], *seen[-1]] if restored else seen[-1]


def _tried(sheets: Sequence[Version], decisions: Sequence[Decision]) -> tuple[Tried, ...]:
    """List the changes that still count, oldest first.

    How far the draw weight went is read from the sheets, whoever changed it: what was done may be
    more than was proposed, and it is shoulders that carry it. With new limbs it begins anew; with
    a shaft of another spine everything else does.
    """
    row = {version.id: k for k, version in enumerate(sheets)}
    steps: list[tuple[int, Tried]] = []
    for d in decisions:
        if was_done(d, row) and not d.cure.startswith("draw_weight"):
            made = row[d.version_id] if d.to_version_id is None else row[d.to_version_id]
            steps.append((made, Tried(cure=d.cure, amount=d.amount, outcome=d.outcome)))
    steps += _draw_weights(sheets, decisions)
    new_shaft = _last_changed(sheets, "spine")
    new_limbs = _last_changed(sheets, "limbs")
    return tuple(
        step
        for made, step in sorted(steps, key=lambda one: one[0])
        if step.cure in SHAFT_CURES
        or made >= (new_limbs if step.cure.startswith("draw_weight") else new_shaft)
    )


def _draw_weights(
    sheets: Sequence[Version], decisions: Sequence[Decision]
) -> list[tuple[int, Tried]]:
    """Every change of the draw weight, in pounds, with the version that it made."""
    steps = []
    for k in range(1, len(sheets)):
        made = _that_made(sheets[k], decisions)
        decided = made if made is not None and made.cure.startswith("draw_weight") else None
        then, now = (sheets[j].sheet.si("draw_weight") for j in (k - 1, k))
        if "limbs" in {name for name, _, _ in differences(sheets[k - 1].sheet, sheets[k].sheet)}:
            continue
        if then is not None and now is not None and then != now:
            pounds = (now - then) / POUND_N
            cure = "draw_weight_up" if pounds > 0 else "draw_weight_down"
            outcome = decided.outcome if decided is not None and decided.cure == cure else None
            steps.append((k, Tried(cure=cure, amount=pounds, outcome=outcome)))
        elif decided is not None:
            told = Tried(cure=decided.cure, amount=decided.amount, outcome=decided.outcome)
            steps.append((k, told))
    return steps


def _last_changed(sheets: Sequence[Version], field: str) -> int:
    """Row of the version that changed a field last; 0 if none did."""
    texts = [version.sheet.typed.get(field, "") for version in sheets]
    return max((k for k in range(1, len(texts)) if texts[k] != texts[k - 1]), default=0)


def _made_worse(sheets: Sequence[Version], decisions: Sequence[Decision]) -> str | None:
    """Name the change that made the newest version, if before and after say that it was worse."""
    made = _that_made(sheets[-1], decisions)
    worse = made is not None and made.outcome == "worse" and made.cure != "take_back"
    return made.cure if made is not None and worse else None


def _that_made(version: Version, decisions: Sequence[Decision]) -> Decision | None:
    """Find the decision that made a version; None if it was made by hand."""
    return next((d for d in reversed(decisions) if d.to_version_id == version.id), None)


def was_done(decision: Decision, made: Collection[str]) -> bool:
    """Tell whether a change, not a test, was carried out.

    Parameters
    ----------
    decision
        What was decided.
    made
        Identities of the versions that stand.

    Returns
    -------
    bool
        True if it made one of them, and for what was kept in words without a version.
    """
    if decision.is_test:
        return False
    if decision.to_version_id is None:  # kept so before each change made a version
        return decision.cure in WITHOUT_SHEET
    return decision.to_version_id in made


def _strongest_wind(payloads: Sequence[Mapping[str, object]]) -> float | None:
    """Give the strongest cross wind that was said of some tests, m/s."""
    winds = [payload.get("crosswind_m_s") for payload in payloads]
    return max((float(str(wind)) for wind in winds if wind is not None), default=None)


def flights_seen(seen: Sequence[Seen]) -> list[FlightSeen]:
    """Read the flights among what was seen, each flight of a film once."""
    kept = each_once([(one.clip_sha256, one.payload) for one in seen if one.kind == "flight"])
    return [read_flight(payload) for payload in kept]


def in_calm_if_possible(
    payloads: list[dict[str, object]],
) -> tuple[list[dict[str, object]], int]:
    """Leave out what was shot in a cross wind if the same was shot in calm air at that distance.

    Parameters
    ----------
    payloads
        Of one kind of test, as the logbook keeps them.

    Returns
    -------
    kept : list of dict
        In the same order.
    left_out : int
        How many were not.
    """

    def windy(payload: Mapping[str, object]) -> bool:
        wind = payload.get("crosswind_m_s")
        return wind is not None and float(str(wind)) >= WINDY_M_S

    calm = {payload["distance_m"] for payload in payloads if not windy(payload)}
    kept = [p for p in payloads if not (windy(p) and p["distance_m"] in calm)]
    return kept, len(payloads) - len(kept)


def _foc_percent(sheets: Sequence[Version], step_percent: float) -> float | None:
    """Balance of the newest sheet.

    A balance point that was measured before the weight of point or insert was changed no longer
    holds: it is moved by what the change of weight does to it.
    """
    sheet = sheets[-1].sheet
    found = sheet_foc_percent(sheet)
    if found is None or "balance_point" not in sheet.typed:
        return found
    measured = sheet
    for version in reversed(sheets):
        if version.sheet.typed.get("balance_point") != sheet.typed["balance_point"]:
            break
        measured = version.sheet
    heavier_kg = 0.0  # in front
    for name in ("point_mass", "insert_mass"):
        then, now = measured.si(name), sheet.si(name)
        if then is not None and now is not None:
            heavier_kg += now - then
    return found + step_percent * heavier_kg / (10 * GRAIN_KG)


def _powder(sheets: Sequence[Version], seen: Sequence[Sequence[Seen]]) -> tuple[PowderTest, ...]:
    """Powder tests of this version, else the last clean one that still counts."""
    here = [read_powder(item.payload) for item in seen[-1] if item.kind == "powder"]
    if here:
        return tuple(here)
    for k in range(len(sheets) - 2, -1, -1):
        if _clears_otherwise(sheets[k].sheet, sheets[-1].sheet):
            return ()
        earlier = [read_powder(item.payload) for item in seen[k] if item.kind == "powder"]
        if earlier:
            clean = all(part == "shaft" for part, _ in earlier[-1].marks)
            return (earlier[-1],) if clean else ()
    return ()


def _clears_otherwise(before: SetUp, after: SetUp) -> bool:
    """Tell whether so much differs between two sheets that fletching may touch what it cleared."""
    changed = {name for name, _, _ in differences(before, after)}
    moved = {
        name
        for name, least in CLEARANCE_MOVED.items()
        if name in changed
        and (
            (then := before.si(name)) is None
            or (now := after.si(name)) is None
            or abs(now - then) >= least
        )
    }
    return bool(changed & CLEARANCE_FIELDS or moved)
