"""Whether a change worked: two versions of a set-up go in; what their tests say of it comes out.

A change is judged by what it was made for: by the swing along one axis, of quick swings alone where
it was to give the fletching room, and by where bare shafts land where it was to move them. What
follows for the next change is not decided here.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot
from typing import Literal

import numpy as np

from classify.bare_shaft import BareShaftOffset
from classify.casebook import Case, flights_seen, in_calm_if_possible
from classify.compare import Comparison, Goal, compare
from classify.evidence import FlightSeen
from classify.evidence_book import Decision, Outcome, Seen, evidence_of
from classify.evidence_payload import read_bare
from classify.findings import FINE_AT_18_M, WORTH_MM, bare_offset
from classify.logbook import Version
from classify.logbook_file import LogbookFile
from classify.several import Swing
from tracker.types import InputError, Message, message

Axis = Literal["across", "up_down"]

UPRIGHT_CURES = frozenset({
    "lower_nocking", "raise_nocking", "raise_nocking_for_contact", "turn_nock_low",
})  # fmt: skip
UPRIGHT_CAUSES = frozenset({"contact_below", "contact_nock", "nocking_high", "nocking_low"})
"""Changes, and what they were to cure, that are judged by the swing up and down; all others by that
from side to side."""

ROOM_CURES = frozenset({
    "turn_nock", "rest_arm_in", "lower_vanes", "relax_bow_hand", "plunger_out",
})  # fmt: skip
"""Changes that give the fletching room: a slow swing that stays is not their fault."""

NO_FALL_CURES = frozenset({
    "raise_brace", "lower_brace", "loosen_nock", "balance_forward", "balance_back", "less_offset",
    "smaller_vanes", "plunger_series", "centre_shot_out", "centre_shot_in", "set_arrow_aside",
})  # fmt: skip
"""Changes of which the next clip is asked only that the swing does not grow."""

BARE_CURES = frozenset({
    "lower_nocking", "raise_nocking", "draw_weight_down", "draw_weight_up", "point_lighter",
    "point_heavier", "more_strands", "fewer_strands", "heavier_serving", "lighter_serving",
    "plunger_stiffer", "plunger_softer", "stiffer_shaft", "weaker_shaft", "shorten_shaft",
})  # fmt: skip
"""Changes that are to bring bare shafts to the fletched arrows."""

NEARER, FURTHER, UNCLEAR = "nearer", "further", "unclear"


@dataclass(frozen=True, kw_only=True)
class Aim:
    """What a change was made for.

    Attributes
    ----------
    axis
        Along which it works.
    quick
        Whether quick swings alone are judged, if there were any.
    goal
        What is asked of the swing.
    bare
        Whether bare shafts were to come nearer.
    """

    axis: Axis
    quick: bool
    goal: Goal
    bare: bool


@dataclass(frozen=True, kw_only=True)
class Judged:
    """What a change did.

    Attributes
    ----------
    axis
        Along which.
    flights
        How many there were before and after.
    swing
        Of the flights; None where one of the versions has none.
    bare
        Whether bare shafts came "nearer", went "further", or "unclear"; None where that was not
        asked, or they were not shot with both.
    sentences
        For a person.
    outcome
        In one word, for what is tried next; None if nothing yet.
    """

    axis: Axis
    flights: tuple[int, int]
    swing: Comparison | None
    bare: str | None
    sentences: tuple[Message, ...]
    outcome: Outcome | None


def decision_between(case: Case, before: Version, after: Version) -> Decision | None:
    """Find the decision that made one version of another; None if it was changed by hand."""
    made = [d for d in case.decisions if d.version_id == before.id and d.to_version_id == after.id]
    return made[-1] if made else None


def aim_of(decision: Decision | None) -> Aim:
    """Tell what a change was made for.

    Parameters
    ----------
    decision
        That made it; None where somebody changed the sheet by hand and did not say what for.

    Returns
    -------
    Aim
    """
    if decision is None:
        return Aim(axis="across", quick=False, goal="no rise", bare=False)
    cure, cause = decision.cure, decision.proposal.get("cause")
    upright = cure in UPRIGHT_CURES or cause in UPRIGHT_CAUSES
    return Aim(
        axis="up_down" if upright else "across",
        quick=cure in ROOM_CURES and not upright,
        goal="no rise" if cure in NO_FALL_CURES else "fall",
        bare=cure in BARE_CURES,
    )


def judge_change(
    book: LogbookFile,
    before: Version,
    after: Version,
    decision: Decision | None,
    *,
    axis: Axis | None = None,
    worth_mm: float = WORTH_MM,
) -> Judged:
    """Compare two versions of a set-up by what the change between them was made for.

    Parameters
    ----------
    book, before, after
        Logbook and the two versions.
    decision
        That made the one of the other; None if nobody decided it.
    axis
        Look along this one; None for the one that the change works on. Of another nothing follows.
    worth_mm
        The smallest change of a swing worth keeping.

    Returns
    -------
    Judged

    Raises
    ------
    InputError
        If the first version is not the earlier one, or neither flights nor bare shafts can be
        compared.
    """
    if before.number >= after.number:
        raise InputError("logbook.compare_order", before=before.number, after=after.number)
    aim = aim_of(decision)
    along = axis or aim.axis
    aimed = decision is None or along == aim.axis
    seen = [evidence_of(book, version) for version in (before, after)]
    lots = [flights_seen(one) for one in seen]
    quick = aimed and aim.quick and _mostly_quick(lots[0])
    swings = [_swings(lot, along, quick=quick) for lot in lots]
    bare, bare_said = _bare(seen, along) if aimed and aim.bare else (None, ())
    counts = (len(swings[0]), len(swings[1]))
    if bare is not None and 0 in counts:
        outcome = _outcome(None, bare)
        return Judged(
            axis=along, flights=counts, swing=None, bare=bare, sentences=bare_said, outcome=outcome
        )
    swing = compare(*swings, worth=worth_mm, goal=aim.goal)
    return Judged(
        axis=along,
        flights=counts,
        swing=swing,
        bare=bare,
        sentences=(_swing_said(swing, bare, aimed=aimed), *bare_said),
        outcome=_outcome(swing, bare) if aimed and decision is not None else None,
    )


def _mostly_quick(flights: Sequence[FlightSeen]) -> bool:
    """Whether most flights swing quickly, so that a cure of that can be judged by it."""
    chances = [flight.presence.get("minnowing", 0.0) for flight in flights if not flight.refused]
    return bool(chances) and float(np.mean(chances)) >= 0.5


def _swings(flights: Sequence[FlightSeen], axis: Axis, *, quick: bool) -> list[Swing]:
    name = "quick_across" if quick else axis
    return [
        swing
        for flight in flights
        if not flight.refused and (swing := getattr(flight, name)) is not None
    ]


def _swing_said(swing: Comparison, bare: str | None, *, aimed: bool) -> Message:
    """Say what the swing did; no order where bare shafts decide."""
    if not aimed:
        return swing.aside
    decides = bare is not None and not swing.worse and swing.verdict != "keep"
    return swing.beside if decides else swing.sentence


def _outcome(swing: Comparison | None, bare: str | None) -> Outcome | None:
    """One word of both; None where they disagree, or do not tell."""
    fell = swing is not None and swing.verdict == "keep"
    rose = swing is not None and swing.worse
    if bare is None:
        if fell or rose:
            return "better" if fell else "worse"
        return "same" if swing is not None and swing.verdict == "undo" else None
    if bare == NEARER:
        return None if rose else "better"
    if bare == FURTHER:
        return None if fell else "worse"
    return "better" if fell else "worse" if rose else None


# ------------------------------------------------------------------ bare shafts


def _bare(seen: Sequence[Sequence[Seen]], axis: Axis) -> tuple[str | None, tuple[Message, ...]]:
    """Whether bare shafts came nearer along an axis, and in a sentence; nothing where not shot."""
    before, after = (_offset(lot) for lot in seen)
    if before is None or after is None:
        return None, ()
    k = 0 if axis == "across" else 1
    (b, b_half), (a, a_half) = (_at_18_m(offset, k) for offset in (before, after))
    if max(abs(b), abs(a)) < FINE_AT_18_M:
        return None, ()
    nearer, half = abs(b) - abs(a), hypot(b_half, a_half)
    found = NEARER if nearer > half else FURTHER if nearer < -half else UNCLEAR
    said = message(
        f"tuning.bare_{axis}_{found}",
        before_cm=100 * b,
        after_cm=100 * a,
        least_cm=100 * (abs(nearer) - half),
        most_cm=100 * (abs(nearer) + half),
        nearer_cm=100 * (nearer + half),
        further_cm=100 * (half - nearer),
    )
    return found, (said,)


def _offset(seen: Sequence[Seen]) -> BareShaftOffset | None:
    """Offset of the tests that count for the next change, too."""
    shot = [dict(one.payload) for one in seen if one.kind == "bare shaft"]
    calm, _ = in_calm_if_possible(shot)
    return bare_offset(tuple(read_bare(payload) for payload in calm))


def _at_18_m(offset: BareShaftOffset, axis: int) -> tuple[float, float]:
    """Offset, and half its interval, as the same angles would show them at 18 m."""
    scale = 18.0 / offset.distance_m
    low, high = offset.interval_m[axis]
    return float(offset.offset_m[axis]) * scale, 0.5 * float(high - low) * scale
