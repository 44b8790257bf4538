"""From findings to the one next change: evidence goes in; what to do, which way and why come out.

The order is the trade's and stands in the knowledge file; the arithmetic is `knowledge.weigh`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from classify.evidence import Evidence, Tried
from classify.findings import Findings, find
from classify.knowledge import Cure, Knowledge, KnownCause, Weighed, load_knowledge, weigh
from classify.knowledge_rules import Direction
from classify.types import Hand
from tracker.types import Message, message

FOC_RANGE_PERCENT = (10.0, 18.0)
"""Points and inserts stay within this balance (common practice)."""


_PAIRS = (("raise_nocking", "lower_nocking"), ("plunger_stiffer", "plunger_softer"))
OPPOSITES = {a: b for pair in _PAIRS for a, b in (pair, pair[::-1])}
"""Fine steps that take each other back."""

SAME_AGAIN_MOST = 3
"""Times that more of the same flights are asked for where nothing else is missing; chosen here."""

SAME_STEP = {"raise_nocking_for_contact": "raise_nocking"}
"""Changes that do to the bow what another does."""


@dataclass(frozen=True, kw_only=True)
class Row:
    """One line of the table a coach can argue with.

    Attributes
    ----------
    cause, title
        Name in the knowledge file and its sentence.
    support
        Natural log-odds; acted on from `Knowledge.act_from`.
    start
        Support before any finding.
    pro, con
        Findings that speak for and against: (name, sentence, how much).
    """

    cause: str
    title: str
    support: float
    start: float
    pro: tuple[tuple[str, str, float], ...]
    con: tuple[tuple[str, str, float], ...]


@dataclass(frozen=True, kw_only=True)
class NextChange:
    """The one thing to do next.

    Attributes
    ----------
    cause, cause_title, why
        What it is meant to cure and why that is believed.
    cure, direction
        Name in the knowledge file; which way, for this archer's hand.
    change
        What to do, with its step, in a sentence.
    amount, unit
        The step as a number, signed; None where a number makes no sense.
    is_test
        True where it changes nothing but measures something.
    before_others
        Why it comes before everything else that is likely.
    expect_clip, expect_test
        What the next clip and the next test show if it is right.
    stop
        When to stop.
    caution
        What can hurt.
    source
        Publication, or "common practice".
    table
        Every cause that anything speaks for, best supported first.
    passed_over
        Means that come earlier but are used up or not allowed for this archer.
    conflicts
        Evidence that contradicts other evidence.
    later
        Titles of what is likely too and waits its turn.
    findings
        What it all rests on.
    """

    cause: str
    cause_title: str
    why: str
    cure: str
    direction: Direction
    change: str
    amount: float | None
    unit: str | None
    is_test: bool
    before_others: str
    expect_clip: str
    expect_test: str
    stop: str
    caution: str
    source: str
    table: tuple[Row, ...]
    passed_over: tuple[Message, ...]
    conflicts: tuple[Message, ...]
    later: tuple[str, ...]
    findings: Findings


def next_change(evidence: Evidence, *, hand: Hand | None, language: str = "en") -> NextChange:
    """Propose the one next change, or the one test that is missing.

    Parameters
    ----------
    evidence
        Everything seen of the present set-up, and what was tried before.
    hand
        The archer's; None as long as nothing depends on it.
    language
        Of the knowledge file's sentences, two letters.

    Returns
    -------
    NextChange
        Of all causes with enough support and a means left, the one that comes first in the trade's
        order; among those of one stage the best supported.

    Raises
    ------
    InputError
        If bare shafts land to a side and nobody said which hand draws.

    Examples
    --------
    >>> next_change(Evidence(), hand="right").cure
    'film_first'
    """
    knowledge = load_knowledge(hand, language)
    findings = find(evidence, hand=hand)
    if evidence.made_worse is not None:
        findings = replace(findings, sure={**findings.sure, "made_worse": 1.0})
    weighed = weigh(findings.sure, knowledge)
    passed_over: list[Message] = []
    open_causes: list[tuple[KnownCause, Cure]] = []
    in_order = sorted(weighed, key=lambda w: (knowledge.place(w.cause), -w.support))
    for entry in in_order:
        if entry.support < knowledge.act_from:
            continue
        cause = knowledge.causes[entry.cause]
        closed = passed_over if not open_causes else []
        cure = _first_open(cause, knowledge, evidence, findings, closed)
        if cure is not None:
            open_causes.append((cause, cure))
    if open_causes:
        cause, cure = open_causes[0]
    else:
        used_up = any(entry.support >= knowledge.act_from for entry in weighed)
        cause = knowledge.causes["cures_used_up" if used_up else "nothing_known"]
        cure = knowledge.cures[_what_is_missing(evidence)]
    far = findings.far and not _draw_weight_started(cure, evidence.tried)
    return NextChange(
        cause=cause.name,
        cause_title=cause.title,
        why=cause.why,
        cure=cure.name,
        direction=cure.direction,
        change=cure.far_change if far else cure.change,
        amount=cure.far_amount if far else cure.amount,
        unit=cure.unit,
        is_test=cure.direction == "test",
        before_others=knowledge.stages[cause.stage],
        expect_clip=cure.next_clip,
        expect_test=cure.next_test,
        stop=cure.stop,
        caution=cure.caution,
        source=cure.source,
        table=_table(weighed, knowledge),
        passed_over=tuple(passed_over),
        conflicts=findings.conflicts,
        later=tuple(c.title for c, _ in open_causes[1:] if c.stage != "keep"),
        findings=findings,
    )


def _first_open(
    cause: KnownCause,
    knowledge: Knowledge,
    evidence: Evidence,
    findings: Findings,
    passed_over: list[Message],
) -> Cure | None:
    """First cure of a cause that is not used up and allowed for this archer."""
    for name in cause.cures:
        cure = knowledge.cures[name]
        reason = _closed(cure, evidence, findings)
        if reason is None:
            return cure
        passed_over.append(reason)
        if reason.key == "tuning.passed_between":
            break  # what is off is less than a fine step, so that a coarse one would only harm
    return None


def _closed(cure: Cure, evidence: Evidence, findings: Findings) -> Message | None:
    """Why a cure is not open, or None."""
    by_what_was_seen = _closed_test(cure, evidence) or _closed_by_sheet(cure, evidence, findings)
    return by_what_was_seen or _closed_by_tries(cure, evidence)


def _closed_test(cure: Cure, evidence: Evidence) -> Message | None:
    """Why a test need not be made again, or None."""
    if cure.name == "bare_shaft_test" and evidence.bare:
        return message("tuning.passed_shot")
    times = evidence.tested.count(cure.name)
    if cure.direction == "test" and times >= cure.repeat:
        return message("tuning.passed_used_up", cure=cure.change, times=times)
    return None


def _closed_by_sheet(cure: Cure, evidence: Evidence, findings: Findings) -> Message | None:
    """Why sheet, impacts or archer forbid a cure, or None."""
    if cure.name in evidence.at_end:
        return message("tuning.passed_end", cure=cure.change)
    if cure.name == "raise_nocking_for_contact" and "bare_low" in findings.sure:
        return message("tuning.passed_bare_low", cure=cure.change)
    return _not_for_this_archer(cure, evidence)


def _closed_by_tries(cure: Cure, evidence: Evidence) -> Message | None:
    """Why a cure is used up, or None."""
    tried = [step for step in evidence.tried if step.cure == cure.name]
    if any(step.outcome == "worse" for step in tried):
        return message("tuning.passed_worse", cure=cure.change)
    if len(tried) >= cure.repeat:
        return message("tuning.passed_used_up", cure=cure.change, times=len(tried))
    if _would_swing_back(cure.name, [step.cure for step in evidence.tried]):
        return message("tuning.passed_between", cure=cure.change)
    if cure.limit is not None and cure.amount is not None:
        done = sum(abs(cure.amount if t.amount is None else t.amount) for t in tried)
        if done + abs(cure.amount) > cure.limit + 1e-9:
            return message(
                "tuning.passed_limit", cure=cure.change, limit=f"{cure.limit:g} {cure.unit}"
            )
    return None


def _not_for_this_archer(cure: Cure, evidence: Evidence) -> Message | None:
    """Why strength or balance forbid a cure, or None."""
    if cure.name == "draw_weight_up" and evidence.holds_60_s is False:
        return message("tuning.passed_hold")
    if cure.unit == "gr" and cure.amount is not None and evidence.foc_percent is not None:
        after = evidence.foc_percent + evidence.foc_step_percent * cure.amount / 10.0
        low, high = FOC_RANGE_PERCENT
        # a step that brings a balance from outside back towards the range is always allowed
        leaves = (after > high and cure.amount > 0) or (after < low and cure.amount < 0)
        if leaves:
            return message("tuning.passed_foc", after_percent=after, low=low, high=high)
    return None


def _would_swing_back(cure: str, tried: Sequence[str]) -> bool:
    """Tell whether a fine step was taken, taken back, and would now be taken again.

    What remains then is smaller than the step. Only fine steps made since the last coarse change
    count, for a coarse change moves everything.
    """
    cure = SAME_STEP.get(cure, cure)
    opposite = OPPOSITES.get(cure)
    fine: list[str] = []
    for name in (SAME_STEP.get(step, step) for step in reversed(tried)):
        if name not in OPPOSITES:
            break
        fine.insert(0, name)
    if opposite is None or opposite not in fine:
        return False
    return cure in fine[: len(fine) - fine[::-1].index(opposite)]


def _draw_weight_started(cure: Cure, tried: Sequence[Tried]) -> bool:
    """Tell whether the larger step, which is for the first go only, was taken."""
    return any(step.cure == cure.name for step in tried)


def _what_is_missing(evidence: Evidence) -> str:
    """Name the cheapest test that was not made, where no cause has enough support."""
    if not any(not flight.refused for flight in evidence.flights):
        return "film_first"
    if not evidence.powder:
        return "powder_test"
    if not evidence.bare:
        return "bare_shaft_test"
    again = evidence.tested.count("same_again")
    return "same_again" if again < SAME_AGAIN_MOST else "coach_looks"


def _signed(support: float) -> float:
    """Give a support no sign where one decimal, as every table shows it, leaves nothing of it."""
    return support if abs(support) >= 0.05 else 0.0


def _table(weighed: Sequence[Weighed], knowledge: Knowledge) -> tuple[Row, ...]:
    rows = []
    for entry in weighed:
        cause = knowledge.causes[entry.cause]
        parts = [
            (name, knowledge.findings[name].title, part)
            for name, part in sorted(entry.parts.items(), key=lambda item: -abs(item[1]))
        ]
        pro = tuple(part for part in parts if part[2] > 0)
        if pro:
            rows.append(
                Row(
                    cause=entry.cause,
                    title=cause.title,
                    support=_signed(entry.support),
                    start=cause.start,
                    pro=pro,
                    con=tuple(part for part in parts if part[2] < 0),
                )
            )
    return tuple(rows)
